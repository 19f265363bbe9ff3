"""Files to keep, each at a plain address that carries the scenario: nothing is stored here."""

from __future__ import annotations

import asyncio
import io

from tornado.web import RequestHandler

from washsim import export, files
from washsim.errors import WashsimError
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim_dashboard import share


class _File(RequestHandler):
    """Answers with a file made from the scenario in `s`, or one sentence and status 400."""

    ending: str
    kind: str

    async def get(self) -> None:
        self.set_header("X-Content-Type-Options", "nosniff")
        # a long wash takes a moment; the other visitors need not wait for it
        loop = asyncio.get_running_loop()
        try:
            scenario = share.unpack(self.get_argument("s", ""))
            body = await loop.run_in_executor(None, self.body, scenario)
        except WashsimError as error:
            self.set_status(400)
            self.set_header("Content-Type", "text/plain; charset=utf-8")
            self.finish(f"{error}\n")
            return
        name = share.file_name(scenario, self.ending)
        self.set_header("Content-Type", f"{self.kind}; charset=utf-8")
        self.set_header("Content-Disposition", f'attachment; filename="{name}"')
        self.finish(body)

    def body(self, scenario: Scenario) -> str:
        raise NotImplementedError


class ScenarioFile(_File):
    """The scenario as TOML."""

    ending, kind = "toml", "application/toml"

    def body(self, scenario: Scenario) -> str:
        return files.dumps(scenario)


class CurvesFile(_File):
    """Residual of every lot, floor and water against time, as CSV."""

    ending, kind = "csv", "text/csv"

    def body(self, scenario: Scenario) -> str:
        stream = io.StringIO(newline="")
        export.write_csv(solve(scenario), stream)
        return stream.getvalue()


PATTERNS = [(r"/scenario\.toml", ScenarioFile), (r"/curves\.csv", CurvesFile)]
"""(address, handler) for the server."""
