"""A phone's connection that a test slows down and cuts: a SOCKS 5 proxy (RFC 1928) without a login."""

from __future__ import annotations

import socket
import struct
import threading
import time
from contextlib import suppress

PIECE = 4096
BY_ADDRESS, CONNECT, GRANTED, FAILED = 1, 1, 0, 1


class Line:
    """Between a browser and whatever it asks for; ``bytes_a_second`` is of what the browser sends."""

    def __init__(self):
        self.bytes_a_second: float | None = None
        self.is_cut = False
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"socks5://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """End all connections in the middle of whatever they carry, and take no new ones."""
        self.is_cut = True
        for end in self._open:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        self._open.clear()

    def mend(self) -> None:
        self.is_cut = False

    def close(self) -> None:
        self.cut()
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                phone, _ = self._listener.accept()
                threading.Thread(target=self._connect, args=(phone,), daemon=True).start()

    def _connect(self, phone: socket.socket) -> None:
        with suppress(OSError), phone:
            if self.is_cut:
                return
            phone.recv(phone.recv(2)[1])
            phone.sendall(b"\x05\x00")
            _, command, _, kind = phone.recv(4)
            assert command == CONNECT
            by_address = kind == BY_ADDRESS  # else by name, its length first
            host = socket.inet_ntoa(phone.recv(4)) if by_address else phone.recv(phone.recv(1)[0])
            port = struct.unpack("!H", phone.recv(2))[0]
            try:
                other = socket.create_connection((host, port), timeout=5)
            except OSError:
                phone.sendall(bytes([5, FAILED, 0, BY_ADDRESS, 0, 0, 0, 0, 0, 0]))
                return
            with other:
                other.settimeout(None)
                phone.sendall(bytes([5, GRANTED, 0, BY_ADDRESS, 0, 0, 0, 0, 0, 0]))
                self._open += [phone, other]
                back = threading.Thread(target=self._pump, args=(other, phone, False), daemon=True)
                back.start()
                self._pump(phone, other, True)
                back.join()

    def _pump(self, source: socket.socket, target: socket.socket, slowed: bool) -> None:
        with suppress(OSError):
            while piece := source.recv(PIECE):
                target.sendall(piece)
                if slowed and self.bytes_a_second:
                    time.sleep(len(piece) / self.bytes_a_second)
        with suppress(OSError):
            target.shutdown(socket.SHUT_WR)
