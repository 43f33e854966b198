"""A small client of the service, for programs: typed calls, progress of jobs, errors as exceptions.

Needs the extra ``client`` (httpx2). The service's own document is the authority; this follows it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

import httpx2

Form = Literal["json", "csv", "parquet", "netcdf"]
_ENDED = ("done", "failed", "cancelled")


class ServiceError(Exception):
    """An answer that is a problem (RFC 9457); ``problem`` holds all of it."""

    def __init__(self, problem: Mapping[str, Any]) -> None:
        self.problem = dict(problem)
        self.status = int(problem.get("status", 0))
        super().__init__(f"{problem.get('title', 'Problem')}: {problem.get('detail', '')}")


class JobFailedError(ServiceError):
    """A job that came to no result."""


class Client:
    """Calls to one service.

    Parameters
    ----------
    address: such as ``http://127.0.0.1:8765``.
    token: needed where the service is not on this machine.
    timeout_s: of one answer, not of a job.
    transport: another way to reach the service, for tests.
    """

    def __init__(
        self,
        address: str = "http://127.0.0.1:8765",
        token: str | None = None,
        timeout_s: float = 30.0,
        transport: httpx2.Client | None = None,
    ) -> None:
        self._http = transport or httpx2.Client(base_url=address, timeout=timeout_s)
        if token is not None:
            self._http.headers["Authorization"] = f"Bearer {token}"
        self._held: dict[str, tuple[str, Any]] = {}

    def __enter__(self) -> Self:
        """Return the client."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close its connections."""
        self._http.close()

    def motors(self) -> Iterator[dict[str, Any]]:
        """Yield every motor of the library, page by page."""
        return self._pages("/v1/motors", "motors")

    def motor(self, motor: str, interval: float = 0.9) -> dict[str, Any]:
        """Return a motor's parameters; asked again, only what has changed is sent."""
        return self._get(f"/v1/motors/{motor}", {"interval": interval})

    def fits(self, motor: str) -> Iterator[dict[str, Any]]:
        """Yield a motor's fits, oldest first."""
        return self._pages(f"/v1/motors/{motor}/fits", "fits")

    def propellers(self) -> Iterator[dict[str, Any]]:
        """Yield the propellers tested."""
        return self._pages("/v1/propellers", "propellers")

    def posterior(
        self, fit: str, draws: int | None = None, parameters: Sequence[str] = (), form: Form = "json"
    ) -> Any:
        """Return draws of a fit: a dict for JSON, else the bytes of the form."""
        asked: dict[str, Any] = {"format": form}
        asked |= {"draws": draws} if draws is not None else {}
        asked |= {"parameters": ",".join(parameters)} if parameters else {}
        answer = _checked(self._http.get(f"/v1/fits/{fit}/posterior", params=asked))
        return answer.json() if form == "json" else answer.content

    def runs(self, fit: str, interval: float = 0.9) -> dict[str, Any]:
        """Return what the runs showed beside what the fit says of them."""
        return self._get(f"/v1/fits/{fit}/runs", {"interval": interval})

    def predict(
        self, motor: str, propeller: str, voltage: float | None = None, **options: Any
    ) -> dict[str, Any]:
        """Return curves with bands; options by the names of the command's, with underscores."""
        asked = {"motor": motor, "propeller": propeller, **options}
        return self._ask("/v1/predictions", asked | ({} if voltage is None else {"voltage": voltage}))

    def step(self, motor: str, propeller: str, start: float, to: float, **options: Any) -> dict[str, Any]:
        """Return how fast a motor speeds up and slows down between two throttles."""
        asked = {"motor": motor, "propeller": propeller, "from": start, "to": to, **options}
        return self._ask("/v1/transients", asked)

    def hover(
        self, motor: str, propeller: str, cells: int, capacity_mah: float, mass_g: float, **options: Any
    ) -> dict[str, Any]:
        """Return what hovering takes and for how long a pack gives it."""
        asked = {"motor": motor, "propeller": propeller, "cells": cells, **options}
        return self._ask("/v1/endurance", asked | {"capacity_mah": capacity_mah, "mass_g": mass_g})

    def compare(self, motors: Sequence[str], **options: Any) -> dict[str, Any]:
        """Return motors compared draw by draw."""
        return self._ask("/v1/comparisons", {"motors": list(motors), **options})

    def fit(
        self, campaign: Path, logs: Sequence[Path], key: str | None = None, **options: Any
    ) -> dict[str, Any]:
        """Upload a campaign to be fitted; returns the job. After a broken call, repeat with the same key."""
        return self._upload("/v1/campaigns", campaign, logs, key, options)

    def check(self, campaign: Path, logs: Sequence[Path], key: str | None = None) -> dict[str, Any]:
        """Upload a campaign to be checked; returns the job."""
        return self._upload("/v1/checks", campaign, logs, key, {})

    def job(self, job: str) -> dict[str, Any]:
        """Return a job's state."""
        found: dict[str, Any] = _checked(self._http.get(f"/v1/jobs/{job}")).json()
        return found

    def cancel(self, job: str) -> dict[str, Any]:
        """Cancel a job."""
        found: dict[str, Any] = _checked(self._http.delete(f"/v1/jobs/{job}")).json()
        return found

    def events(self, job: str, after: int = 0) -> Iterator[tuple[int, str, dict[str, Any]]]:
        """Yield (number, name, data) of what happens to a job until it ends."""
        headers = {"Last-Event-ID": str(after)} if after else {}
        with self._http.stream("GET", f"/v1/jobs/{job}/events", headers=headers, timeout=60.0) as answer:
            if answer.status_code != 200:
                answer.read()
                _checked(answer)
            number, name = after, "message"
            for line in answer.iter_lines():
                field, _, value = line.partition(": ")
                if field == "id":
                    number = int(value)
                elif field == "event":
                    name = value
                elif field == "data":
                    yield number, name, json.loads(value)

    def wait(self, job: str) -> dict[str, Any]:
        """Return the result of a job once it is done; a stream that breaks off is taken up again.

        Raises
        ------
        JobFailedError
            It failed or was cancelled.
        """
        after, found = 0, self.job(job)
        while found["state"] not in _ENDED:
            with _broken_off():
                for number, _, _ in self.events(job, after):
                    after = number
            found = self.job(job)
        if found["state"] != "done":
            raise JobFailedError(found["problem"] or {"title": "Cancelled", "detail": f"job {job}"})
        result: dict[str, Any] = found["result"]
        return result

    def _get(self, path: str, asked: Mapping[str, Any]) -> dict[str, Any]:
        name = f"{path}?{sorted(asked.items())}"
        tag, held = self._held.get(name, ("", None))
        answer = self._http.get(path, params=dict(asked), headers={"If-None-Match": tag} if tag else {})
        if answer.status_code == 304:
            known: dict[str, Any] = held
            return known
        found: dict[str, Any] = _checked(answer).json()
        self._held[name] = (answer.headers.get("etag", ""), found)
        return found

    def _ask(self, path: str, asked: Mapping[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = _checked(self._http.post(path, json=dict(asked))).json()
        return found

    def _pages(self, path: str, name: str) -> Iterator[dict[str, Any]]:
        offset = 0
        while True:
            page = _checked(self._http.get(path, params={"offset": offset, "limit": 100})).json()
            yield from page[name]
            offset += len(page[name])
            if not page[name] or offset >= page["total"]:
                return

    def _upload(
        self, path: str, campaign: Path, logs: Sequence[Path], key: str | None, options: Mapping[str, Any]
    ) -> dict[str, Any]:
        files = [("campaign", (campaign.name, campaign.read_bytes()))]
        files += [("logs", (log.name, log.read_bytes())) for log in logs]
        fields = {name: str(value) for name, value in options.items()}
        headers = {"Idempotency-Key": key} if key is not None else {}
        found: dict[str, Any] = _checked(
            self._http.post(path, files=files, data=fields, headers=headers)
        ).json()
        return found


@contextmanager
def _broken_off() -> Iterator[None]:
    """Let a stream end early: what it told is on the service's disk."""
    try:
        yield
    except httpx2.TransportError:
        return


def _checked(answer: httpx2.Response) -> httpx2.Response:
    if answer.status_code < 400:
        return answer
    try:
        problem = answer.json()
    except ValueError:
        problem = {"title": answer.reason_phrase, "status": answer.status_code, "detail": answer.text[:500]}
    raise ServiceError(problem)
