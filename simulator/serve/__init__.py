"""The rigs on real wires, and the plant's pace against real time.

```python
fronts = await open_fronts(rigs, [read_wanted("rtu:/tmp/bus")])
fronts.told()  # {"rtu_device": "/tmp/bus"}
await fronts.close()
```

In lockstep hand it the plant's time, and call `moved` after each step:

```python
fronts = await open_fronts(rigs, [read_wanted("lines")], lambda: yard.now_s)
fronts.told()  # {"lines_devices": ["/dev/pts/4"], "modbus_port": 36721}
fronts.moved()
```

A pseudo-terminal has no baud rate and takes no parity: give `parity = "none"`. In
lockstep a board sends one line a plant second: its link needs `period_s = 1.0` and
`timeout_s = 4.0`.
"""

from simulator.serve.base import HOST, ServeError
from simulator.serve.fronts import KINDS, Fronts, Wanted, open_fronts, read_wanted
from simulator.serve.modbus import ModbusFront, RtuFront
from simulator.serve.wall import WallPace

__all__ = [
    "HOST",
    "KINDS",
    "Fronts",
    "ModbusFront",
    "RtuFront",
    "ServeError",
    "WallPace",
    "Wanted",
    "open_fronts",
    "read_wanted",
]
