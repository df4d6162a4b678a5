-- wrk: everybody reads one page, each from an address of their own, as the proxy names them.
local clients = dofile(os.getenv("CLIENTS"))
local page = os.getenv("PAGE")
local n, requests = 0, {}

function init()
  for i, c in ipairs(clients) do
    requests[i] = wrk.format("GET", page, { Host = "bench.example", Cookie = c.reader, ["X-Forwarded-For"] = c.address })
  end
end

function request()
  n = n % #requests + 1
  return requests[n]
end

dofile(os.getenv("REPORT"))
