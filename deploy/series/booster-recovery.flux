// Whether the booster recovers between the racks of a rush, by machine: the trend of the
// margin (settled rinse minimum less limit) in an hour of at least 20 racks, in K per hour.
// About 0 where the booster recovers before the next rack; well below 0 where each rack
// finds it colder than the one before. The slope is that of the least squares.
from(bucket: "rinseward")
  |> range(start: -7d)
  |> filter(fn: (r) => r._measurement == "cycle" and r._field == "margin")
  |> group(columns: ["site", "machine"])
  |> window(every: 1h)
  |> map(fn: (r) => ({r with hours: float(v: int(v: r._time) - int(v: r._start)) / 3600000000000.0}))
  |> reduce(
    identity: {n: 0.0, x: 0.0, y: 0.0, xx: 0.0, xy: 0.0},
    fn: (r, accumulator) => ({
      n: accumulator.n + 1.0,
      x: accumulator.x + r.hours,
      y: accumulator.y + r._value,
      xx: accumulator.xx + r.hours * r.hours,
      xy: accumulator.xy + r.hours * r._value,
    }),
  )
  |> filter(fn: (r) => r.n >= 20.0)
  |> map(fn: (r) => ({r with _value: (r.n * r.xy - r.x * r.y) / (r.n * r.xx - r.x * r.x)}))
  |> group()
