"""A node by pyolcb, over a python-can bus that speaks text over TCP, for the tests of links.

usage: lcc_peer.py PORT

It produces and consumes events with its own node id, takes its alias without asking for it, and swaps the first and the last frame of events
with more to say: our side must bear with that. Takes lines on standard input: `event HEX` sends an event. Prints every event
that it consumes, every frame that comes (`frame ID DATA`), and `ready`.
"""

import queue
import socket
import sys
import threading

import can
from pyolcb import Address, Event, Interface, Node


def tell(line):
    """In one go: several threads speak."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


class TextBus(can.BusABC):
    """A python-can bus over a socket."""

    def __init__(self, sock, **rest):
        super().__init__(channel="text", **rest)
        self.sock, self.heard, self.rest = sock, queue.Queue(), b""
        threading.Thread(target=self.hear, daemon=True).start()

    def hear(self):
        while True:
            try:
                got = self.sock.recv(4096)
            except OSError:
                return
            if not got:
                return
            self.rest += got
            while b";" in self.rest:
                text, self.rest = self.rest.split(b";", 1)
                text = text.strip().decode()
                if text.startswith(":X"):
                    header, data = text[2:].split("N")
                    message = can.Message(
                        arbitration_id=int(header, 16) & 0x1FFFFFFF, is_extended_id=True, data=bytes.fromhex(data)
                    )
                    tell(f"frame {message.arbitration_id:08X} {bytes(message.data).hex().upper()}")
                    self.heard.put(message)

    def send(self, message, timeout=None):
        self.sock.sendall(f":X{message.arbitration_id:08X}N{bytes(message.data).hex().upper()};\n".encode())

    def _recv_internal(self, timeout):
        try:
            return self.heard.get(timeout=timeout or 0.1), False
        except queue.Empty:
            return None, False

    def shutdown(self):
        super().shutdown()
        self.sock.close()


sock = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
bus = TextBus(sock)
node = Node(Address("05.01.01.01.8C.00"), Interface(bus))
node.add_consumer(Event(0x0501010103010001), lambda *rest: tell("consumed"))
tell("ready")
for line in sys.stdin:
    word, *rest = line.split()
    if word == "event":
        bus.send(
            can.Message(arbitration_id=0x195B4000 | 0xC00, is_extended_id=True, data=bytes.fromhex(rest[0]))
        )
    elif word == "produce":
        node.produce(int(rest[0]))
bus.shutdown()
