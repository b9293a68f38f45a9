"""A whole study: planned step by step, worked off chunk by chunk, resumed, merged into one file.

Finished chunks lie in a side folder (:mod:`sim.studies.parts`) until the last one is there, so a
study that was stopped, by whatever, goes on where it was. What a case comes to depends neither on
the chunk it is in nor on the process that calculates it, so the result is the same to the bit.
"""

from __future__ import annotations

import json
import os
import shlex
import time
from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from sim import provenance
from sim.config import config_digest
from sim.errors import StoreError
from sim.store import check_output
from sim.studies import grid
from sim.studies.engine import FAILED, NO_CLASS, STATUSES, CaseTable, run_cases
from sim.studies.kinds import AnyStudy, study_from_json
from sim.studies.parts import PartFolder, bits_of, chunk_mark
from sim.studies.store import MapResult, load_map, write_map
from sim.studies.study import Study
from sim.studies.workers import Calculate, Chunk, Work, processors, workers_for

__all__ = [
    "Calculate",
    "Merged",
    "Overlay",
    "Plan",
    "Progress",
    "Ways",
    "carry_out",
    "processors",
    "run_study",
]

# Asks for cases, and is sent what they came to, in no order, without stored states; what it
# returns is handed to the one that writes.
Plan = Generator[np.ndarray, list[CaseTable], Any]
Progress = Callable[[int, int, int], None]  # done, planned so far, failed
Modes = tuple[tuple[np.ndarray, ...], Mapping[str, np.ndarray]]
Overlay = Callable[["Study"], Modes]

FAILED_CODE = NO_CLASS - 1
_FAILED = tuple(STATUSES.index(name) for name in FAILED)


@dataclass(frozen=True)
class Merged:
    """Finished chunks on their way into one file.

    Attributes
    ----------
    tables : iterator of CaseTable       in the order of their numbers, one in memory at a time
    ended : object                       what the plan returned
    notes : dict of str to str           provenance
    records : int                        most records that the states of a chunk have
    temporary, real : Path               written there, then put in its place
    where : str                          name of the file in messages
    """

    tables: Iterator[CaseTable]
    ended: Any
    notes: dict[str, str]
    records: int
    temporary: Path
    real: Path
    where: str


@dataclass(frozen=True)
class Ways:
    """What differs between kinds of studies: how they are planned, written and read."""

    plan: Callable[[Any], Plan]
    write: Callable[[Any, Merged], None]
    load: Callable[[str | os.PathLike[str]], Any]


def run_study(
    study: Study,
    output: str | os.PathLike[str],
    *,
    resume: bool = False,
    force: bool = False,
    scheduler: str | None = None,
    workers: int = 1,
    progress: Progress | None = None,
    calculate: Calculate = run_cases,
    overlay: Overlay | None = None,
    keep: bool = True,
) -> MapResult:
    """Run every cell that the plan of a study asks for, and write the map.

    Parameters
    ----------
    study : Study
    output : path             of the map, by convention ending in ``.h5``
    resume : bool             go on with what an earlier call left, or load what it finished;
                              begin when there is nothing
    force : bool              replace what is there
    scheduler : str or None   address of a Dask cluster that calculates in place of this process
    workers : int             processes that calculate side by side; with more than one, a program
                              that calls this must be importable (``if __name__ == "__main__"``)
    progress : callable       told after each chunk how many runs are done, how many are planned
                              (a refined map plans level by level) and how many have failed
    calculate : callable      (study, cases) to CaseTable; the same bits for a case
                              whatever the company
    overlay : callable        study to (mode_axes, growth), after all cells
    keep : bool               finished chunks stay where the study is broken off; without, nothing

    Returns
    -------
    MapResult
        Without the stored states, which may be large: :func:`sim.studies.store.load_map` reads
        them.

    Raises
    ------
    StoreError
        When something is in the way or does not belong to the study, or a file cannot be written.
    RunError
        When the cluster cannot be reached or cannot be used.

    Notes
    -----
    An interrupt (``KeyboardInterrupt``) and errors of ``calculate`` come through; the side folder
    then holds the finished chunks, to go on with ``resume``.
    """
    if study.levels and len(study.starts) > 1:
        raise ValueError("a refined map has one start a cell")

    def write(study: Study, merged: Merged) -> None:
        codes, inferred = merged.ended
        modes = overlay(study) if overlay is not None else None
        write_map(
            study, merged.tables, codes, inferred, modes, merged.notes, merged.temporary,
            merged.real, merged.where, records=merged.records,
        )  # fmt: skip

    found: MapResult = carry_out(
        study, output, Ways(_level_by_level, write, _without_states), resume=resume, force=force,
        scheduler=scheduler, workers=workers, progress=progress, calculate=calculate, keep=keep,
    )  # fmt: skip
    return found


def _without_states(path: str | os.PathLike[str]) -> MapResult:
    return load_map(path, states=False)


def carry_out(
    study: AnyStudy,
    output: str | os.PathLike[str],
    ways: Ways,
    *,
    resume: bool = False,
    force: bool = False,
    scheduler: str | None = None,
    workers: int = 1,
    progress: Progress | None = None,
    calculate: Calculate = run_cases,
    keep: bool = True,
) -> Any:
    """Run what the plan of any study asks for, and write its file.

    As :func:`run_study`, which does it for maps; returns what ``ways.load`` reads.
    """
    where = os.fspath(output)
    real = check_output(where, overwrite=force or resume)
    folder = PartFolder.of(real, where)
    with folder.locked():
        check_output(where, overwrite=force or resume)  # another process may just have finished it
        try:
            return _run(
                study, ways, real, where, folder, resume, force, scheduler, workers, progress,
                calculate,
            )  # fmt: skip
        except BaseException:
            if not keep:
                with suppress(StoreError):  # files of somebody else in it, which stay
                    folder.remove()
            raise


def _run(
    study: AnyStudy,
    ways: Ways,
    real: Path,
    where: str,
    folder: PartFolder,
    resume: bool,
    force: bool,
    scheduler: str | None,
    workers: int,
    progress: Progress | None,
    calculate: Calculate,
) -> Any:
    """:func:`carry_out` while the folder is locked."""
    versions = bits_of(study)
    if resume:
        finished = _finished(study, ways, versions, real, where, folder, force)
        if finished is not None:
            return finished
    elif folder.exists() and not force:
        raise StoreError(_in_the_way(study, where, folder))
    started = time.monotonic()
    # a cluster that cannot be reached leaves everything as it was
    with workers_for(study, versions, scheduler, workers, calculate) as work:
        chunk = _open(study, versions, folder, resume=resume, force=force)
        job = _Job(study, folder, chunk_mark(study.study_digest, versions), chunk, progress)
        ended = _work_off(job, work, ways.plan(study))
    seconds = time.monotonic() - started
    notes = {
        **provenance.collect(study.base),
        "source_digest": versions["source_digest"],
        "study_digest": study.study_digest,
        "seed": str(study.seed),
        "runs": str(job.done),
        "runs_taken_over": str(job.taken_over),
        "calculated_by": f"cluster at {scheduler}" if scheduler else "this host",
        "wall_time_s": f"{seconds:.2f}",
    }
    folder.check_room(job.padding)
    merged = Merged(job.tables(), ended, notes, job.records, folder.merged, real, where)
    ways.write(study, merged)
    folder.remove()
    return ways.load(real)


# ------------------------------------------------------------------------------- what is there


def _in_the_way(study: AnyStudy, where: str, folder: PartFolder) -> str:
    source = study.source_path or "FILE.toml"
    again = shlex.join(["runtrue", study.kind, source, "--output", where])
    return (
        f"{folder.where}: an earlier study was stopped before it was finished. To begin anew:"
        f" {again} --force -- to go on with it: {again} --resume"
    )


def _finished(
    study: AnyStudy,
    ways: Ways,
    versions: Mapping[str, str],
    real: Path,
    where: str,
    folder: PartFolder,
    force: bool,
) -> Any:
    """The result, when it is there and whole; None when there is something left to do."""
    note = folder.note()
    if not real.exists() or (note is not None and note["replace"]):
        return None
    try:
        found = ways.load(where)
    except StoreError:
        if force:
            return None
        raise
    theirs = {key: found.provenance.get(key, "unknown") for key in versions}
    problem = _differs(study, versions, found.study.study_digest, theirs, found.study)
    if not problem:
        folder.remove()  # all that was left to do
        return found
    if force:
        return None
    raise StoreError(f"{where}: {problem} Use another --output, or --force to replace it.")


def _differs(
    study: AnyStudy,
    versions: Mapping[str, str],
    digest: str,
    theirs: Mapping[str, str],
    stored: AnyStudy | None,
) -> str:
    """How what is stored differs from what is to be run, as a sentence; "" when it does not."""
    if digest != study.study_digest:
        if stored is not None and _only_the_bait(study, stored):
            bait = study.base.source_path or "the bait's file"
            digests = config_digest(stored.base)[:12], config_digest(study.base)[:12]
            if digests[0] == digests[1]:
                return f"[build] or [uncertainty] in {bait} has changed since."
            return (
                f"the configuration of the bait, {bait}, has changed since (sha256 {digests[0]},"
                f" now {digests[1]})."
            )
        return f"came from another study (sha256 {digest[:12]}, now {study.study_digest[:12]})."
    other = [
        f"{key.replace('_', ' ')} {theirs.get(key, 'unknown')}, now {ours}"
        for key, ours in versions.items()
        if theirs.get(key) != ours
    ]
    if other:
        return f"came from another version of the program ({'; '.join(other)})."
    return ""


def _only_the_bait(study: AnyStudy, stored: AnyStudy) -> bool:
    """Whether two studies differ in nothing but what the bait's file says."""
    fixed = [json.dumps(one.fixed, sort_keys=True) for one in (study, stored)]
    same = stored.kind == study.kind
    same = same and replace(stored, base=study.base).study_digest == study.study_digest
    return same and fixed[0] == fixed[1]


def _open(
    study: AnyStudy, versions: Mapping[str, str], folder: PartFolder, *, resume: bool, force: bool
) -> int:
    """Make the side folder ready; number of cases a chunk, that of the first call."""
    note = folder.note() if resume else None
    if note is not None:
        stored = None
        with suppress(Exception):  # a note of another version may hold anything
            stored = study_from_json(json.dumps(note["study"]))
        problem = _differs(study, versions, note["digest"], note["versions"], stored)
        if not problem:
            folder.clean()
            return int(note["chunk"])
        if not force:
            raise StoreError(
                f"{folder.where}: {problem} Resume with the study and the program that it came"
                " from, use another --output, or --force to begin anew."
            )
    folder.remove()
    folder.begin(study, replace=force)
    return study.chunk


# ------------------------------------------------------------------------------------------ plan


@dataclass(eq=False)
class _Job:
    """Which chunks there are so far, and what came of them."""

    study: AnyStudy
    folder: PartFolder
    mark: str
    chunk: int  # cases
    progress: Progress | None
    chunks: list[np.ndarray] = field(default_factory=list)  # cases of each
    planned: int = 0
    done: int = 0
    failed: int = 0
    taken_over: int = 0
    records: int = 0  # most records that the states of a chunk have
    rows: int = 0  # records of all runs
    kept: int = 0  # runs whose states are kept

    @property
    def padding(self) -> int:
        """Bytes by which the states grow when all are made as long as the longest."""
        return (self.kept * max(1, self.records) - self.rows) * 7 * 8

    def plan(self, cases: np.ndarray) -> list[Chunk]:
        """Cut cases into chunks; numbers go on from those before."""
        first = len(self.chunks)
        self.chunks += [cases[i : i + self.chunk] for i in range(0, len(cases), self.chunk)]
        self.planned += len(cases)
        return list(enumerate(self.chunks[first:], first))

    def count(self, table: CaseTable) -> None:
        self.done += len(table.case)
        self.failed += int(np.isin(table.status, _FAILED).sum())
        if table.states is not None:
            runs, records = table.states.shape[:2]
            self.records = max(self.records, records)
            self.rows += runs * records
            self.kept += runs
        if self.progress is not None:
            self.progress(self.done, self.planned, self.failed)

    def tables(self) -> Iterator[CaseTable]:
        """All chunks in the order of their numbers."""
        for number, cases in enumerate(self.chunks):
            table = self.folder.read(number, cases, self.mark)
            if table is None:
                raise StoreError(
                    f"{self.folder.where}: {self.folder.path(number).name} was damaged or removed"
                    " since it was written. Run the study again with --resume."
                )
            yield table


def _work_off(job: _Job, work: Work, plan: Plan) -> Any:
    """Run what a plan asks for, as long as it does; what it returns."""
    try:
        cases = next(plan)
        while True:
            found = []
            for table in _results(job, job.plan(cases), work):
                job.count(table)
                found.append(replace(table, states=None))
            cases = plan.send(found)
    except StopIteration as end:
        return end.value


def _level_by_level(study: Study) -> Plan:
    """Plan of a map; returns class codes of all cells, and which of them were inferred."""
    levels, starts = study.levels, np.arange(len(study.starts))
    codes = np.full(study.shape, NO_CLASS, dtype=np.int64)
    known = np.zeros(study.shape, dtype=bool)
    for level in range(levels + 1):
        while (cells := grid.next_cells(level, levels, codes, known)).size:
            for table in (yield (cells[:, None] * starts.size + starts).ravel()):
                cell = table.case // starts.size
                codes.flat[cell] = _codes(table)
                known.flat[cell] = True
        codes = grid.fill(level, levels, codes, known)
    return codes, ~known


def _codes(table: CaseTable) -> np.ndarray:
    """What tells cases apart: the class, none, or failed."""
    failed = np.isin(table.status, _FAILED)
    return np.where(failed, FAILED_CODE, table.motion_class.astype(np.int64))


def _results(job: _Job, chunks: list[Chunk], work: Work) -> Iterator[CaseTable]:
    """Every chunk once: those that an earlier call left, then the others as they are finished."""
    left = []
    for number, cases in chunks:
        table = job.folder.read(number, cases, job.mark)
        if table is None:
            left.append((number, cases))
        else:
            job.taken_over += len(cases)
            yield table
    for number, table in work(left):
        if not np.array_equal(table.case, job.chunks[number]):
            raise ValueError(f"chunk {number}: other cases came back than were asked for")
        job.folder.write(number, table, job.mark)
        yield table
