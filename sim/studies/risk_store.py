"""Risks to HDF5 and back: one self-describing file a study of builds.

Layout, format version 1. The root group holds ``design``, ``build`` and ``speed``, and everything
that has a value in every run, shape (design, build, speed), named and linked as netCDF does it;
``errors`` and ``coefficients`` hold what was drawn for each build. ``/study``, ``/config`` and
``/provenance`` are those of maps, and so is the line with the SHA-256 behind the HDF5 data.
"""

from __future__ import annotations

import os
from collections.abc import Iterable

import h5py
import numpy as np

from sim.kernels.motion import MEASURES
from sim.store import Label, describe, write_texts
from sim.studies import files
from sim.studies.builds import ALL, DOUBTS, ERRORS, BuildStudy, Design, Quantity
from sim.studies.engine import MARGINS
from sim.studies.risk import RiskResult, gather, risk_plan
from sim.studies.run import Merged, Ways

__all__ = ["FORMAT", "RISK", "is_risk", "load_risk", "write_risk"]

FORMAT = "runtrue risk"
FORMAT_VERSION = 1
_RUNS = ["design", "build", "speed"]
_DESIGN = Label(
    "what was drawn: errors of the shop, coefficients, both; nothing; a second sample; one error"
    " of the second sample among those of the first; one error or all scaled by the factor given"
)


def design_text(number: int) -> str:
    """Name of a design, such as ``mixed bill_yaw_deg`` or ``search bill_yaw_deg 0.5``."""
    design = Design.of(number)
    words = [design.kind]
    if design.error >= 0:
        words.append("all" if design.error == ALL else ERRORS[design.error].key)
    if design.kind == "search":
        words.append(f"{design.scale:g}")
    return " ".join(words)


def write_risk(study: BuildStudy, merged: Merged) -> None:
    """Merge finished chunks into one file, whole or not at all.

    Raises
    ------
    StoreError
    """
    result = gather(study, merged.tables)
    files.write_file(
        lambda file: _fill(file, result), merged.notes, merged.temporary, merged.real, merged.where
    )


def _fill(file: h5py.File, result: RiskResult) -> None:
    study = result.study
    files.start_file(file, FORMAT, FORMAT_VERSION)
    describe(write_texts(file, "design", tuple(design_text(d) for d in result.designs)), _DESIGN)
    file["design"].make_scale("design")
    file["design"].attrs["number"] = np.array(result.designs)
    files.add_scale(file, "build", np.arange(study.builds), Label("number of the build"))
    files.add_scale(file, "speed", np.array(study.speeds), Label("speed of the retrieve", "m/s"))
    files.add(file, "status", result.status, _RUNS)
    files.add(file, "motion_class", result.motion_class, _RUNS)
    for name, array in result.measures.items():
        files.add(file, name, array, _RUNS)
    for name, array in result.margins.items():
        files.add(file, files.MARGIN + name, array, _RUNS)
    files.add(file, "early", result.early.astype(np.uint8), _RUNS)
    files.add(file, "message", result.message, _RUNS)
    _add_drawn(file, "errors", "error", ERRORS, study.errors)
    _add_drawn(file, "coefficients", "coefficient", DOUBTS, study.doubts)
    files.add_study(file, study)


def _add_drawn(
    file: h5py.File, name: str, along: str, quantities: Iterable[Quantity], drawn: np.ndarray
) -> None:
    quantities = tuple(quantities)
    keys = tuple(quantity.key for quantity in quantities)
    describe(write_texts(file, along, keys), Label(f"key of the {along}"))
    file[along].make_scale(along)
    units = tuple(quantity.unit or "1" for quantity in quantities)
    label = Label(f"{name} drawn for each build", "mixed", "", keys, units)
    files.add(file, name, drawn, ["build", along], label)


def is_risk(path: str | os.PathLike[str]) -> bool:
    """Whether a file says that it holds a risk; that it is whole, :func:`load_risk` finds out."""
    return files.format_of(path) == FORMAT


def load_risk(path: str | os.PathLike[str]) -> RiskResult:
    """Read a file that :func:`write_risk` wrote.

    Raises
    ------
    StoreError
        As :func:`sim.studies.files.read_file`.
    """
    return files.read_file(path, FORMAT, FORMAT_VERSION, _result)


def _result(file: h5py.File, where: str) -> RiskResult:
    study = files.stored_study(file, where)
    assert isinstance(study, BuildStudy)  # so says the format of the file
    files.need(file, where, ["design", "status", "motion_class", *MEASURES, "early", "message"])
    return RiskResult(
        study=study,
        designs=tuple(int(number) for number in file["design"].attrs["number"]),
        status=file["status"][()],
        motion_class=file["motion_class"][()],
        measures={name: file[name][()] for name in MEASURES},
        margins={name: file[files.MARGIN + name][()] for name in MARGINS},
        early=file["early"][()].astype(bool),
        message=file["message"].asstr(errors="surrogateescape")[()],
        provenance=files.read_notes(file),
    )


RISK = Ways(risk_plan, write_risk, load_risk)
