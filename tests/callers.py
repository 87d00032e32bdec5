"""People and tablets who ask a real server, with JSON and nothing else."""

import json
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import pyotp

from tests.accounts import NEW_PASSPHRASE
from tests.running import running as serving


class Caller:
    """Somebody, or a tablet, who asks with JSON and gets JSON."""

    def __init__(self, url: str, token: str = "") -> None:
        self.url, self.token, self.cookie = url, token, ""

    def ask(self, method: str, address: str, body: Any = None) -> tuple[int, Any]:
        headers = {"Origin": self.url, "Content-Type": "application/json", "Cookie": self.cookie}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.url + address, data, headers, method=method)
        try:
            answer = urllib.request.urlopen(request, timeout=60)
        except urllib.error.HTTPError as error:
            answer = error
        with answer:
            raw, status = answer.read(), int(answer.status)
            self.cookie = answer.headers.get("Set-Cookie", self.cookie).partition(";")[0]
            is_json = raw and "json" in answer.headers.get("Content-Type", "")
        return status, json.loads(raw) if is_json else raw.decode()

    def get(self, address: str) -> Any:
        status, answer = self.ask("GET", address)
        assert status == 200, (address, answer)
        return answer

    def make(self, address: str, *, status: int = 201, **body: Any) -> Any:
        """Post something new; things whose sender makes the id get one."""
        found, answer = self.ask("POST", address, body)
        assert found == status, (address, answer)
        return answer

    def sign_in(self, name: str, **more: str) -> "Caller":
        self.make("/api/sign-in", status=200, name=name, passphrase=NEW_PASSPHRASE, **more)
        return self


@contextmanager
def served(path: Path) -> Iterator[tuple[str, str]]:
    """Serve a database; gives its address and, as long as nobody is owner, the secret."""
    arguments = ("serve", "--port", "0", "--database", str(path))
    with serving(*arguments, LINNET_TIME_ZONE="UTC") as server:
        url, secret = server.first_line.removeprefix("Linnet listens on ").strip(" /\n"), ""
        assert server.process.stdout is not None
        if not path.with_name("owned").exists():
            assert "becomes its owner" in server.process.stdout.readline()
            secret = server.process.stdout.readline().strip().partition("#")[2]
            path.with_name("owned").touch()
        yield url, secret
        code, errors = server.stop()
        assert code == 0
        assert '"level":"error"' not in errors


def staff(url: str, secret: str) -> dict[str, Caller]:
    """Everybody joins and signs in; the assistant with a second factor."""
    joining = {"secret": secret, "name": "purser", "passphrase": NEW_PASSPHRASE}
    Caller(url).make("/api/join", **joining)
    people = {"purser": Caller(url).sign_in("purser")}
    invited, above = people["purser"], None
    for name, role in (
        ("harbour", "supervisor"),
        ("ferry", "assistant"),
        ("lantern", "assistant"),
        ("beacon", "researcher"),
    ):
        more = {"supervisor_id": above} if name == "ferry" else {}
        link = invited.make("/api/invitations", roles=[role], **more)["link"]
        joining |= {"secret": link.partition("#")[2], "name": name}
        made = Caller(url).make("/api/join", **joining)
        assert Caller(url).ask("POST", "/api/join", joining)[0] == 422
        above = made["account_id"] if role == "supervisor" else above
        people[name] = Caller(url).sign_in(name)
    ferry = people["ferry"]
    made = ferry.make("/api/account/second-factor", passphrase=NEW_PASSPHRASE)
    phone = pyotp.TOTP(made["secret"])
    shown = {"code": phone.at(time.time())}
    assert ferry.ask("PUT", "/api/account/second-factor", shown)[0] == 204
    bare = {"name": "ferry", "passphrase": NEW_PASSPHRASE}
    assert Caller(url).ask("POST", "/api/sign-in", bare)[0] == 401
    people["ferry"] = Caller(url).sign_in("ferry", code=phone.at(time.time() + 30))
    return people


def traced(pack: dict[str, Any], at: int, seq: int, beside_mm: float) -> dict[str, Any]:
    """A whole line beside the guide of an item: 4 s at 120 Hz."""
    (plan,) = pack["plans"]
    item = plan["items"][at]
    points = np.array(item["guide"]["points_mm"])
    along = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T).cumsum()])
    way = np.linspace(0.0, along[-1], 481)
    line = np.array([np.interp(way, along, column) for column in points.T])
    turn = np.gradient(line, axis=1) / np.hypot(*np.gradient(line, axis=1))
    x, y = line + beside_mm * np.array([-turn[1], turn[0]])
    ids = {"plan_id": plan["plan_id"], "version": plan["version"], "item_id": item["item_id"]}
    return {
        "format": "linnet-trial/1",
        "trial_id": str(uuid4()),
        "seq": seq,
        "plan": ids | {"repetition": seq},
        **{name: item[name] for name in ("task", "guide", "condition")},
        "device": {
            "tablet_id": pack["tablet_id"],
            "pointer_type": "pen",
            "px_per_mm": 5.2,
            "calibrated": True,
            "screen_mm": [207, 136],
        },
        "started_at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
        "cue_ms": 0,
        "ended_by": "stop_target",
        "marks": [],
        "samples": {
            "t_ms": (500 + np.arange(481) * 1000 / 120).round(3).tolist(),
            "x_mm": x.round(3).tolist(),
            "y_mm": y.round(3).tolist(),
            "stroke": [0] * 481,
        },
    }
