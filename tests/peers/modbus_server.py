"""A Modbus server by pymodbus, for the tests of links.

usage: modbus_server.py tcp PORT | serial DEVICE

Takes lines on standard input: `input NUMBER 0|1` sets a discrete input, `mode well|hang|garbage|slow` says how it answers.
Prints `ready` once it serves, and `coil NUMBER 0|1` whenever somebody sets one.
"""

import asyncio
import sys
import threading
import time

from pymodbus import FramerType
from pymodbus.datastore import ModbusDeviceContext, ModbusSequentialDataBlock, ModbusServerContext
from pymodbus.server import ModbusSerialServer, ModbusTcpServer

inputs, mode = {}, "well"


def packet(sending, data):
    """What goes over the line."""
    if sending and mode == "hang":
        return b""
    if sending and mode == "garbage":
        return bytes((byte * 7 + 3) & 0xFF for byte in data)
    if sending and mode == "slow":
        time.sleep(0.1)
    return data


def pdu(sending, message):
    """What is meant by it."""
    if sending and message.function_code == 2 and hasattr(message, "bits"):
        count = len(message.bits)
        message.bits = [bool(inputs.get(asked["address"] + place)) for place in range(count)]
    elif not sending:
        asked["address"] = getattr(message, "address", 0)
        if message.function_code == 5:
            print("coil", message.address, int(bool(message.bits[0])), flush=True)
    return message


asked = {"address": 0}


def obey():
    global mode
    for line in sys.stdin:
        word, *rest = line.split()
        if word == "input":
            inputs[int(rest[0])] = rest[1] == "1"
        elif word == "mode":
            mode = rest[0]


async def serve():
    def block(value):
        return ModbusSequentialDataBlock(1, [value] * 100)

    device = ModbusDeviceContext(di=block(False), co=block(False), hr=block(0), ir=block(0))
    context = ModbusServerContext(devices=device, single=True)
    hooks = {"trace_packet": packet, "trace_pdu": pdu}
    if sys.argv[1] == "tcp":
        server = ModbusTcpServer(context, framer=FramerType.SOCKET, address=("127.0.0.1", int(sys.argv[2])), **hooks)
    else:
        settings = {"port": sys.argv[2], "baudrate": 19200, "parity": "N", "stopbits": 2, "bytesize": 8}
        server = ModbusSerialServer(context, framer=FramerType.RTU, **settings, **hooks)
    await server.serve_forever(background=True)
    print("ready", flush=True)
    threading.Thread(target=obey, daemon=True).start()
    await asyncio.Event().wait()


asyncio.run(serve())
