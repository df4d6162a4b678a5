-- wrk: fifty crews keep greasings, each of their own ship; every tenth is sent twice under its id. Which ids were sent,
-- and which were answered as kept, is written down as it happens.
local clients = dofile(os.getenv("CLIENTS"))
local folder, run = os.getenv("FOLDER"), tonumber(os.getenv("RUN"))
local threads, n, again = 0, 0, nil

function setup(thread)
  thread:set("number", threads)
  threads = threads + 1
end

function init()
  sent = io.open(string.format("%s/sent.%d.%d", folder, run, number), "w")
  kept = io.open(string.format("%s/kept.%d.%d", folder, run, number), "w")
end

function request()
  if again then
    local text = again
    again = nil
    return text
  end
  n = n + 1
  local c = clients[n % #clients + 1]
  local of_crew = math.floor(n / #clients)
  local minute = 20 * math.floor(of_crew / 4) + number * 7 + 1
  local at = os.date("!%Y-%m-%dT%H:%M", os.time({ year = 2026, month = 10, day = run, hour = 12 }) + 60 * minute)
  local id = string.format("019%09x-7%03x-8%03x-%012x", run, number, 0, n):gsub("^(........)(....)", "%1-%2")
  local body = string.format("kind=greasing&vessel=%s&shaft=shaft_%d&amount=24&unit=strokes&gun=gun1&ended=pressure&at=%s&id=%s",
                             c.vessel, of_crew % 4 + 1, at, id)
  local text = wrk.format("POST", "/api/records", {
    Host = "bench.example", Cookie = c.crew, ["X-Forwarded-For"] = c.address, ["X-Form-Token"] = c.token,
    ["Content-Type"] = "application/x-www-form-urlencoded" }, body)
  sent:write(id, "\n")
  if n % 10 == 0 then again = text end
  return text
end

function response(status, headers, body)
  local id = body:match('"id": "([0-9a-f-]+)"')
  kept:write(status, " ", id or "-", "\n")
  kept:flush()
end

dofile(os.getenv("REPORT"))
