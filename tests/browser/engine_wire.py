"""Commands with numbers over a websocket, as CDP and WebDriver BiDi both speak them."""

import json
from typing import Any

from engine import PageFault
from websocket import create_connection

PATIENCE_S = 60.0


class Wire:
    """Answers may come in another order than the commands went out; events are passed over."""

    def __init__(self, url: str) -> None:
        self.socket = create_connection(url, suppress_origin=True, timeout=PATIENCE_S)
        self.number = 0
        self.answers: dict[int, dict[str, Any]] = {}

    def send(self, method: str, **params: Any) -> int:
        """Send without waiting; the number to ask for the answer with."""
        self.number += 1
        self.socket.send(json.dumps({"id": self.number, "method": method, "params": params}))
        return self.number

    def answer(self, number: int) -> dict[str, Any]:
        while number not in self.answers:
            message = json.loads(self.socket.recv())
            if message.get("id") is not None:
                self.answers[message["id"]] = message
        message = self.answers.pop(number)
        if "error" in message:
            raise PageFault(str(message["error"]), message.get("message", ""))
        return message["result"]

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        return self.answer(self.send(method, **params))

    def close(self) -> None:
        # Without the closing handshake, which a killed browser would never answer.
        self.socket.shutdown()
