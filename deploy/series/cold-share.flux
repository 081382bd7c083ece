// Share of cold cycles by hour of the day, over all machines, 0 to 1. Hours are UTC;
// a cycle is cold where its verdict is 0.
import "date"

from(bucket: "rinseward")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "cycle" and r._field == "verdict")
  |> group()
  |> map(fn: (r) => ({hour: date.hour(t: r._time), cold: if r._value == 0 then 1.0 else 0.0}))
  |> group(columns: ["hour"])
  |> mean(column: "cold")
  |> group()
  |> sort(columns: ["hour"])
