"""Asks the units of a line with pymodbus.

usage: master.py PORT
Prints one line of JSON: what unit 1 answers to each request.
"""

import json
import sys

from pymodbus.client import ModbusSerialClient
from pymodbus.framer import FramerType


def told(answer):
    if answer.isError():
        return {"exception": answer.exception_code}
    return {"registers": answer.registers}


client = ModbusSerialClient(sys.argv[1], framer=FramerType.RTU, baudrate=19200, timeout=2, retries=1)
assert client.connect(), "the port opens"
print(
    json.dumps(
        {
            "holding": told(client.read_holding_registers(0, count=4, device_id=1)),
            "input": told(client.read_input_registers(16, count=1, device_id=1)),
            "all": told(client.read_input_registers(0, count=32, device_id=1)),
            "beyond": told(client.read_holding_registers(31, count=2, device_id=1)),
            "write": told(client.write_register(0, 1, device_id=1)),
        }
    )
)
client.close()
