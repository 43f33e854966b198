from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from motorfit.archive import catalogue, netcdf, store
from tests.archive.factory import make_result


def _rows(library: Path) -> int:
    with closing(sqlite3.connect(library / catalogue.NAME)) as connection:
        return int(connection.execute("SELECT count(*) FROM fits").fetchone()[0])


def test_a_current_catalogue_saves_opening_the_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store.save_fit(tmp_path, make_result(seed=1))
    store.save_fit(tmp_path, make_result(seed=2))
    assert _rows(tmp_path) == 4

    def refuse(*_: object) -> None:
        raise AssertionError("a file was opened")

    monkeypatch.setattr(netcdf, "read_attributes", refuse)
    assert len(store.list_fits(tmp_path)) == 4


def test_what_is_gone_or_new_is_mended_at_the_next_look(tmp_path: Path) -> None:
    first = store.save_fit(tmp_path, make_result(seed=1))
    (tmp_path / catalogue.NAME).rename(tmp_path / "old")
    store.save_fit(tmp_path, make_result(seed=2))
    (tmp_path / "old").replace(tmp_path / catalogue.NAME)
    first[0].path.unlink()
    assert len(store.list_fits(tmp_path)) == 3
    assert _rows(tmp_path) == 3


@pytest.mark.parametrize(
    "damage",
    [b"", b"not a database, and long enough to be taken for one" * 40, None],
    ids=["empty", "garbage", "missing"],
)
def test_a_damaged_catalogue_is_made_anew(tmp_path: Path, damage: bytes | None) -> None:
    store.save_fit(tmp_path, make_result())
    before = store.list_fits(tmp_path)
    if damage is None:
        (tmp_path / catalogue.NAME).unlink()
    else:
        (tmp_path / catalogue.NAME).write_bytes(damage)
    assert store.list_fits(tmp_path) == before
    store.list_fits(tmp_path)
    assert _rows(tmp_path) == 2


def test_a_catalogue_of_another_layout_is_made_anew(tmp_path: Path) -> None:
    store.save_fit(tmp_path, make_result())
    before = store.list_fits(tmp_path)
    with closing(sqlite3.connect(tmp_path / catalogue.NAME)) as connection, connection:
        connection.execute("DROP TABLE fits")
    assert store.list_fits(tmp_path) == before
    store.list_fits(tmp_path)
    assert _rows(tmp_path) == 2


def test_a_rebuilt_catalogue_says_the_same(tmp_path: Path) -> None:
    store.save_fit(tmp_path, make_result())
    assert store.rebuild_catalogue(tmp_path) == store.list_fits(tmp_path)


def test_a_locked_catalogue_costs_time_but_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store.save_fit(tmp_path, make_result())
    monkeypatch.setattr(catalogue, "_BUSY_S", 0.01)
    with closing(sqlite3.connect(tmp_path / catalogue.NAME, isolation_level=None)) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        assert len(store.list_fits(tmp_path)) == 2
        holder.execute("ROLLBACK")
    assert _rows(tmp_path) == 2


def test_threads_may_read_and_write_one_library(tmp_path: Path) -> None:
    store.save_fit(tmp_path, make_result(seed=0))
    failures: list[BaseException] = []

    def work(seed: int) -> None:
        try:
            for turn in range(4):
                if seed % 2:
                    store.save_fit(tmp_path, make_result(seed=10 * seed + turn, draws=50))
                else:
                    fit = store.load_fit(tmp_path, "alder-2207")
                    assert fit.prior and fit.predictive
                    store.list_fits(tmp_path)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=work, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert len(store.list_fits(tmp_path)) == 2 * (1 + 2 * 4)
