"""A Modbus RTU server over one serial port, for the tests of driver/modbus.

Usage: server.py PORT JSON, where JSON maps unit ids to tables ("input" and
"holding"), and these map addresses to register values. It says "ready" on
standard output when the port is open, and serves until it is ended.
"""

import asyncio
import json
import sys

from pymodbus.datastore import ModbusServerContext, ModbusSlaveContext, ModbusSparseDataBlock
from pymodbus.server.async_io import ModbusSerialServer
from pymodbus.transaction import ModbusRtuFramer


def block(table):
    return ModbusSparseDataBlock({int(address): value for address, value in table.items()})


def unit(tables):
    return ModbusSlaveContext(
        ir=block(tables.get("input", {})),
        hr=block(tables.get("holding", {})),
        zero_mode=True,
    )


async def main(port, units):
    context = ModbusServerContext(
        slaves={int(number): unit(tables) for number, tables in units.items()}, single=False
    )
    server = ModbusSerialServer(context, framer=ModbusRtuFramer, port=port, baudrate=19200, ignore_missing_slaves=True)
    await server.start()
    print("ready", flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], json.loads(sys.argv[2])))
