"""Units of pymodbus, for the gateway to ask: on a serial line of two pseudo-terminals, or over TCP.

usage: units.py rtu | tcp
Prints one line of JSON with the port, and serves until its standard input ends.
Unit 1 holds 700 + n in holding register n and 1700 + n in input register n, n from 0 to 31.
Unit 2 holds 82.2 as IEEE 754 in holding registers 0 and 1, the high word first, and -5 in 2.
"""

import asyncio
import json
import os
import struct
import sys
import threading
import tty

from pymodbus.datastore import ModbusDeviceContext, ModbusSequentialDataBlock, ModbusServerContext
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer


def block(words):
    # Its blocks count from 1; a context takes one away.
    return ModbusSequentialDataBlock(1, words)


def context():
    high, low = struct.unpack(">HH", struct.pack(">f", 82.2))
    first = ModbusDeviceContext(
        hr=block([700 + n for n in range(32)]), ir=block([1700 + n for n in range(32)])
    )
    second = ModbusDeviceContext(hr=block([high, low, 0xFFFB]), ir=block([0]))
    return ModbusServerContext(devices={1: first, 2: second}, single=False)


def relay():
    """Two pseudo-terminals joined by their masters, as a cable joins two ports."""
    ends = [os.openpty(), os.openpty()]
    for _, slave in ends:
        tty.setraw(slave)

    def carry(source, target):
        while True:
            try:
                os.write(target, os.read(source, 256))
            except OSError:
                return

    masters = [master for master, _ in ends]
    for source, target in (masters, masters[::-1]):
        threading.Thread(target=carry, args=(source, target), daemon=True).start()
    return [os.ttyname(slave) for _, slave in ends]


async def main():
    if sys.argv[1] == "rtu":
        ours, theirs = relay()
        server = ModbusSerialServer(context(), framer=FramerType.RTU, port=ours, baudrate=19200)
        port = theirs
        await server.serve_forever(background=True)
    else:
        server = ModbusTcpServer(context(), address=("127.0.0.1", 0))
        await server.serve_forever(background=True)
        port = server.transport.sockets[0].getsockname()[1]
    print(json.dumps({"port": port}), flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    os._exit(0)


asyncio.run(main())
