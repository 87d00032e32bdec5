"""A way from the browser to the server that can be shut while both go on living."""

import contextlib
import selectors
import socket
import threading


class Gate:
    """Passes bytes from its own port to another; shut, it breaks and takes no connections."""

    def __init__(self, port: int) -> None:
        self.beyond = ("127.0.0.1", port)
        self.door = socket.create_server(("127.0.0.1", 0))
        self.port = self.door.getsockname()[1]
        self.is_open = True
        self.passing: set[socket.socket] = set()
        threading.Thread(target=self._serve, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def shut(self) -> None:
        self.is_open = False
        for one in list(self.passing):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def open(self) -> None:
        self.is_open = True

    def close(self) -> None:
        self.shut()
        # A thread that waits in accept() is woken by this, not by close().
        with contextlib.suppress(OSError):
            self.door.shutdown(socket.SHUT_RDWR)
        self.door.close()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self.door.accept()
            except OSError:
                return
            threading.Thread(target=self._pass, args=(near,), daemon=True).start()

    def _pass(self, near: socket.socket) -> None:
        with near:
            if not self.is_open:
                return
            try:
                far = socket.create_connection(self.beyond, timeout=5)
            except OSError:
                return
            with far, selectors.DefaultSelector() as either:
                self.passing |= {near, far}
                either.register(near, selectors.EVENT_READ, far)
                either.register(far, selectors.EVENT_READ, near)
                with contextlib.suppress(OSError):
                    self._copy(either)
                self.passing -= {near, far}

    def _copy(self, either: selectors.DefaultSelector) -> None:
        while self.is_open:
            for ready, _ in either.select():
                taken = ready.fileobj.recv(65536)
                if not taken:
                    return
                ready.data.sendall(taken)
