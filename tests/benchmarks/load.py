"""How long visitors wait for an answer while several drag at once, and how much each change ships.

    python tests/benchmarks/load.py [--users 12] [--seconds 20] [--port 5098]

Each user is one connection that speaks the page's own protocol: a slider's change goes out, and as
soon as its answer is in, the next one, as the page does while a finger stays on the slider. Every
change asks for a scenario that nobody has solved before. From sending a change until the words of
its answer have arrived; what the browser then needs to paint is measured by slider.py. Server and
users share this machine.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import statistics
import subprocess
import sys
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

from bokeh.util.token import generate_jwt_token, generate_session_id
from tornado.websocket import WebSocketClientConnection, websocket_connect

READY = {
    "events": [
        {
            "kind": "MessageSent",
            "msg_type": "bokeh_event",
            "msg_data": {
                "type": "event",
                "name": "document_ready",
                "values": {"type": "map", "entries": []},
            },
        }
    ]
}
"""What a browser says once the page has come up."""
SLIDERS = (
    ("fixing.duration", 60, 1.0),
    ("water.temperature", 10, 0.05),
    ("vessels.1.volume", 3, 0.02),
)
"""Place, first value and step: the second changes every speed, the third those beside the water."""
ANSWER = '"attr":"told"'


@dataclass(slots=True)
class User:
    """One visitor's connection, and what was measured on it."""

    number: int
    waits: list[float] = field(default_factory=list)
    """ms from a change to its answer."""
    sent: int = 0
    received: int = 0
    """Bytes of all changes and all answers."""

    async def drag(self, port: int, ready: asyncio.Barrier, seconds: float) -> None:
        """Open the page, wait until all have, then move a slider until the time is up."""
        token = generate_jwt_token(generate_session_id())
        url = f"ws://127.0.0.1:{port}/ws"
        socket = await websocket_connect(
            url, subprotocols=["bokeh", token], max_message_size=100_000_000
        )
        await self.hear(socket, '"msgtype":"ACK"')
        await self.say(socket, "PULL-DOC-REQ", {})
        board = board_id(await self.hear(socket, '"board"'))
        await self.say(socket, "PATCH-DOC", READY)
        await ready.wait()
        self.sent = self.received = 0
        stop = time.perf_counter() + seconds
        while (begun := time.perf_counter()) < stop:
            await self.say(socket, "PATCH-DOC", self.change(board))
            await self.hear(socket, ANSWER)
            self.waits.append(1e3 * (time.perf_counter() - begun))
        socket.close()

    def change(self, board: str) -> dict:
        """A fixing time, warmth or volume in turn, such as nobody else asks for."""
        path, first, step = SLIDERS[len(self.waits) % len(SLIDERS)]
        value = first + step * (len(self.waits) + self.number / 100)
        wish = {"do": "set", "path": path, "value": value, "drag": 0}
        new = mapping({"changes": [mapping(wish)], "number": len(self.waits) + 1})
        event = {"kind": "ModelChanged", "model": {"id": board}, "attr": "asked", "new": new}
        return {"events": [event]}

    async def say(self, socket: WebSocketClientConnection, kind: str, content: dict) -> None:
        """One message: header, metadata, content."""
        header = {"msgid": generate_session_id(), "msgtype": kind}
        for part in (header, {}, content):
            text = json.dumps(part, separators=(",", ":"))
            self.sent += len(text)
            await socket.write_message(text)

    async def hear(self, socket: WebSocketClientConnection, wanted: str) -> str:
        """Read until a part of a message holds the wanted text, and return it."""
        while True:
            part = await socket.read_message()
            if part is None:
                raise ConnectionError("the server closed the connection")
            self.received += len(part)
            if isinstance(part, str) and wanted in part.replace(" ", ""):
                return part


def mapping(plain: dict) -> dict:
    """A dictionary as the page's protocol writes it."""
    return {"type": "map", "entries": [list(pair) for pair in plain.items()]}


def board_id(text: str) -> str:
    """The id of the model named 'board' in a document."""

    def walk(node: object) -> str | None:
        if isinstance(node, dict):
            if node.get("attributes", {}).get("name") == "board":
                return str(node["id"])
            return next(filter(None, map(walk, node.values())), None)
        if isinstance(node, list):
            return next(filter(None, map(walk, node)), None)
        return None

    found = walk(json.loads(text))
    assert found, "the page has no board"
    return found


def cpu_seconds(process: int) -> float:
    """Processor time that a process has used."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(") ")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


async def together(port: int, count: int, seconds: float, server: int) -> tuple[list[User], float]:
    """The users, and the processor time that the server spent from when all pages were open."""
    ready = asyncio.Barrier(count + 1)
    users = [User(number) for number in range(count)]
    dragging = asyncio.gather(*(user.drag(port, ready, seconds) for user in users))
    await ready.wait()
    before = cpu_seconds(server)
    await dragging
    return users, cpu_seconds(server) - before


def p95(values: list[float]) -> float:
    return sorted(values)[round(0.95 * (len(values) - 1))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--users", type=int, default=12)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--port", type=int, default=5098)
    asked = parser.parse_args()
    command = [sys.executable, "-m", "washsim_dashboard", "--port", str(asked.port), "--no-show"]
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    print(
        "users  changes  a second   median ms   p95 ms   worst ms   server ms   kB asked   kB answered"
    )
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as server:
        try:
            for _ in range(300):
                try:
                    urllib.request.urlopen(
                        f"http://127.0.0.1:{asked.port}/assets/shell.css"
                    ).close()
                    break
                except OSError:
                    time.sleep(0.1)
            for count in (1, asked.users):
                users, spent = asyncio.run(together(asked.port, count, asked.seconds, server.pid))
                waits = [wait for user in users for wait in user.waits]
                n = len(waits)
                print(
                    f"{count:5d}  {n:7d}  {n / asked.seconds:8.1f}   "
                    f"{statistics.median(waits):9.0f}   {p95(waits):6.0f}   {max(waits):8.0f}   "
                    f"{1e3 * spent / n:9.1f}   {sum(u.sent for u in users) / n / 1e3:8.2f}   "
                    f"{sum(u.received for u in users) / n / 1e3:11.0f}"
                )
        finally:
            server.terminate()


if __name__ == "__main__":
    main()
