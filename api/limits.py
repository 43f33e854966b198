"""What one request, one upload and one queue may take, in one place."""

from __future__ import annotations

from dataclasses import dataclass

MAX_DRAWS = 20_000
MAX_POINTS = 500
MAX_WORK = 2_000_000
"""Draws times points of one prediction."""
MAX_MOTORS = 20
MAX_PAGE = 500
DEFAULT_PAGE = 100
MAX_EVENT_STREAMS = 64


@dataclass(frozen=True)
class Limits:
    """Bounds of the service.

    Attributes
    ----------
    question_bytes: body of a question in JSON.
    upload_bytes: body of an upload.
    unpacked_bytes: all files of an upload after unpacking.
    files: in one upload.
    rows: lines of one log.
    runs: of one campaign.
    waiting: questions that wait for a free core; above it, 503.
    queued: jobs that wait for a worker; above it, 503.
    job_seconds: wall time of one job.
    job_bytes: address space of the process that parses and fits.
    lease_seconds: after which a worker that gave no sign of life has lost its job.
    free_bytes: what must be free on the disks of queue and library: below it uploads are refused, jobs wait.
    kept_bytes: answers kept in memory by each process.
    fits_bytes: fits kept in memory by each process.
    keep_days: how long finished jobs can be asked for.
    """

    question_bytes: int = 256 * 1024
    upload_bytes: int = 256 * 1024 * 1024
    unpacked_bytes: int = 1024 * 1024 * 1024
    files: int = 200
    rows: int = 5_000_000
    runs: int = 200
    waiting: int = 64
    queued: int = 100
    job_seconds: float = 1800.0
    job_bytes: int = 8 * 1024 * 1024 * 1024
    lease_seconds: float = 15.0
    free_bytes: int = 64 * 1024 * 1024
    kept_bytes: int = 16 * 1024 * 1024
    fits_bytes: int = 256 * 1024 * 1024
    keep_days: float = 30.0
