-- wrk: one line of figures, parted by blanks, in place of its own words.
function done(summary, latency)
  local e = summary.errors
  print(string.format("FIGURES %d %.1f %.1f %.1f %.1f %.1f %d %d", summary.requests, summary.requests / summary.duration * 1e6,
                      latency:percentile(50) / 1000, latency:percentile(99) / 1000, latency:percentile(99.9) / 1000, latency.max / 1000,
                      e.status, e.connect + e.read + e.write + e.timeout))
end
