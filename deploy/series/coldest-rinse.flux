// Coldest rinse of each day, by machine, in °C. The time of a row is the start of its day.
// For days of a place rather than of UTC add: import "timezone", and
// option location = timezone.location(name: "Europe/Berlin")
from(bucket: "rinseward")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "cycle" and r._field == "rinse_min")
  |> group(columns: ["site", "machine"])
  |> aggregateWindow(every: 1d, fn: min, createEmpty: false, timeSrc: "_start")
