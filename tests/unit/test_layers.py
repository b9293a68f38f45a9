"""What may import what, which switches are read, and that the compiled kernels are the sources."""

from __future__ import annotations

import ast
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest

import sim
from sim.config.models import Coefficients, Loads
from sim.kernels import kernel_digest

PACKAGE = Path(sim.__file__).parent
KERNELS = PACKAGE / "kernels"
IN_KERNELS = {"__future__", "numpy", "math", "numba", "typing", "sim.kernels"}
ONLY_IN_INIT = {
    "atexit",
    "shutil",
    "hashlib",
    "os",
    "tempfile",
    "pathlib",
    "collections.abc",
    "functools",
}
# the one that teaches the compiler to work on eight numbers at once
ONLY_IN_LANES = {
    "operator", "collections.abc", "llvmlite", "numba.core", "numba.core.imputils",
    "numba.core.typeconv", "numba.extending",
}  # fmt: skip
DRAWS: set[str] = set()  # modules beside plots/ that may draw


def imports(source: Path) -> set[str]:
    """Names of the modules that a file imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{source}: relative import"
            found.add(node.module or "")
    return found


def sources(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.py"))


def attributes(source: Path) -> set[str]:
    """Every dotted name read in a file, as its last two parts: ``loads.weight``."""
    found = set()
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute):
            owner = node.value
            name = owner.attr if isinstance(owner, ast.Attribute) else getattr(owner, "id", "")
            found.add(f"{name}.{node.attr}")
    return found


# ------------------------------------------------------------------------------------------- layers


@pytest.mark.parametrize("source", sources(KERNELS), ids=lambda p: p.name)
def test_kernels_import_nothing_but_numbers(source: Path) -> None:
    more = {"__init__.py": ONLY_IN_INIT, "lanes.py": ONLY_IN_LANES}
    allowed = IN_KERNELS | more.get(source.name, set())
    for name in imports(source):
        inside = name.startswith("sim.kernels")
        assert inside or name in allowed, f"{source.name} imports {name}"


def test_only_drawing_modules_import_matplotlib() -> None:
    drawing = set()
    for source in sources(PACKAGE):
        if any(name.split(".")[0] == "matplotlib" for name in imports(source)):
            where = source.relative_to(PACKAGE)
            drawing.add(where.parts[0] if len(where.parts) > 1 else where.stem)
    assert "plots" in drawing
    assert drawing <= DRAWS | {"plots"}


def test_physics_does_not_reach_for_files_or_pictures() -> None:
    forbidden = (
        "h5py", "matplotlib", "typer", "rich", "sim.plots", "sim.store", "sim.cli", "sim.commands",
        "sim.terminal",
    )  # fmt: skip
    for name in (
        "model", "run", "measure", "classify", "water", "result", "start", "trim", "small_motion",
        "captive_loads", "coefficients", "hydrostatics",
    ):  # fmt: skip
        for imported in imports(PACKAGE / f"{name}.py"):
            assert not imported.startswith(forbidden), f"{name} imports {imported}"


def test_reports_print_nothing_and_read_no_file() -> None:
    forbidden = ("h5py", "matplotlib", "typer", "pathlib", "os", "sys", "sim.plots", "sim.store")
    for source in sources(PACKAGE / "report"):
        for imported in imports(source):
            above = ("sim.cli", "sim.commands", "sim.terminal")
            assert not imported.startswith((*forbidden, *above)), source.name
        calls = {n.func.id for n in ast.walk(ast.parse(source.read_text(encoding="utf-8")))
                 if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}  # fmt: skip
        assert not calls & {"print", "open"}, source.name


def test_nothing_below_imports_the_commands() -> None:
    for source in sources(PACKAGE):
        if source.relative_to(PACKAGE).parts[0] not in ("cli.py", "commands"):
            for name in imports(source):
                above = ("sim.cli", "sim.commands")
                assert not name.startswith(above), f"{source.name} imports {name}"


def test_the_commands_import_the_simulation_only_when_they_run() -> None:
    # so that `runtrue --help` comes at once
    quick = ("sim.commands", "sim.terminal", "sim.errors", "sim.plots")
    for source in [PACKAGE / "cli.py", *sources(PACKAGE / "commands")]:
        for node in ast.parse(source.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sim."):
                assert node.module in quick or node.module.startswith("sim.commands."), source.name


def test_config_does_not_import_the_simulation() -> None:
    for source in sources(PACKAGE / "config"):
        for name in imports(source):
            inside = name.startswith(("sim.config", "sim.errors"))
            assert inside or not name.startswith("sim"), f"{source.name} imports {name}"


def test_parts_import_only_config_and_kernels() -> None:
    for source in sources(PACKAGE / "bait"):
        for name in imports(source):
            if name.startswith("sim"):
                assert name.startswith(
                    ("sim.bait", "sim.config", "sim.kernels", "sim.errors", "sim.water")
                ), f"{source.name} imports {name}"


def test_importing_the_kernels_loads_neither_config_nor_files_nor_pictures() -> None:
    code = (
        "import sys, types;"
        f"p = types.ModuleType('sim'); p.__path__ = [{str(PACKAGE)!r}]; sys.modules['sim'] = p;"
        "import sim.kernels.stepper;"
        "print([m for m in ('pydantic', 'h5py', 'matplotlib', 'sim.config') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=300, check=True
    )
    assert done.stdout.strip() == "[]"


# --------------------------------------------------------------------------------------- docstrings


@pytest.mark.parametrize("source", sources(KERNELS), ids=lambda p: p.name)
def test_kernel_modules_and_functions_say_what_they_do(source: Path) -> None:
    tree = ast.parse(source.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), source.name
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            assert ast.get_docstring(node), f"{source.name}: {node.name}"


def test_every_kernel_is_compiled_by_the_one_decorator() -> None:
    for source in sources(KERNELS):
        text = source.read_text(encoding="utf-8")
        if source.name != "__init__.py":
            assert "njit" not in text and "numba" not in imports(source), source.name


# ----------------------------------------------------------------------------------------- switches


@pytest.mark.parametrize("key", sorted(Loads.model_fields))
def test_every_load_switch_is_read_by_the_model(key: str) -> None:
    assert f"loads.{key}" in attributes(PACKAGE / "model.py")


@pytest.mark.parametrize("key", sorted(Coefficients.model_fields))
def test_every_coefficient_is_read_by_the_model(key: str) -> None:
    assert f"coefficients.{key}" in attributes(PACKAGE / "model.py")


# ------------------------------------------------------------------------------------------- digest


def digest_of(folder: Path) -> str:
    """The digest that a copy of the package gives itself."""
    done = subprocess.run(
        [sys.executable, "-c", "from sim.kernels import kernel_digest; print(kernel_digest())"],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(folder), "RUNTRUE_CACHE_DIR": str(folder)},
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    return done.stdout.strip()


def test_digest_changes_with_any_kernel_source_and_with_nothing_else(tmp_path: Path) -> None:
    # a package of the kernels alone is enough, and quick to import
    copy = tmp_path / "sim"
    shutil.copytree(KERNELS, copy / "kernels", ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "__init__.py").write_text("")
    first = digest_of(tmp_path)
    assert first == kernel_digest()
    (copy / "other.py").write_text("x = 1\n")
    assert digest_of(tmp_path) == first
    plate = copy / "kernels" / "plate.py"
    text = plate.read_text(encoding="utf-8")
    plate.write_text(text + "\n# a remark\n", encoding="utf-8")
    assert digest_of(tmp_path) != first
    plate.write_text(text, encoding="utf-8")
    assert digest_of(tmp_path) == first
    plate.rename(plate.with_name("plates.py"))
    assert digest_of(tmp_path) != first


def test_digest_is_over_names_contents_and_numba() -> None:
    expected = hashlib.sha256(numba.__version__.encode())
    for source in sorted(KERNELS.glob("*.py")):
        expected.update(source.name.encode())
        expected.update(source.read_bytes())
    assert kernel_digest() == expected.hexdigest()[:16]


def test_compiled_kernels_lie_in_a_folder_named_by_the_digest() -> None:
    if os.environ.get("NUMBA_CACHE_DIR"):
        pytest.skip("the cache folder is set from outside")
    folder = Path(numba.config.CACHE_DIR)
    assert folder.name == kernel_digest() or folder.name.startswith("runtrue-kernels-")


# -------------------------------------------------------------------------------------- compilation

BY_HAND = """
import json
import numpy as np
from sim.kernels import body, layout as lo, plate, pose
from sim.kernels.wake import wake_oscillator

rng = np.random.default_rng(5)
out = {}
out["rotation"] = pose.rotation(0.5, 0.1, -0.7, 0.5)
out["share"] = body.immersed_share(0.3, 1.0)
out["stream"] = [plate.stream_coefficient(n, t, 1.5, 2.4) for n, t in ((1, 2), (-1, 0), (0, 3))]
out["shift"] = plate.pressure_shift(0.5, 1.0)
plates = rng.normal(size=(1, lo.N_PLATE, 1))
elements = rng.uniform(0.0, 0.01, size=(1, 3, 6, 1))
for depth in (1.0e9, 0.001, -1.0):
    out[f"plate at {depth}"] = plate.plate_load(
        1.0, 0.2, -0.3, 2.0, -1.0, 3.0, 0.0, 0.6, 0.8, depth, 0.5, plates, elements, 0, 0
    )
scalar = rng.normal(size=(lo.N_SCALAR, 1))
strips = rng.uniform(size=(3, lo.N_STRIP, 1))
slices = np.column_stack([[-0.7, 0.0, 0.7], [0.3, 0.4, 0.3]])
wet = np.array([[0.2], [1.0], [0.7]])
for deep in (True, False):
    out[f"body, deep {deep}"] = body.body_load(
        1.0, 0.2, -0.3, 2.0, -1.0, 3.0, deep, wet, scalar, strips, slices, 0
    )
dy = rng.normal(size=(lo.N_STATE, 1))
wake_oscillator(1.0, 0.2, -0.3, 2.0, -1.0, 3.0, 0.4, 2.0, scalar, 0, dy)
out["wake"] = dy[:, 0].tolist()
y = rng.normal(size=(lo.N_STATE, 2))
for k in (0, 1):
    pose.renormalise(y, k)
out["unit"] = y.ravel().tolist()
print(json.dumps(out))
"""


def numbers(**environment: str) -> dict[str, list[float]]:
    done = subprocess.run(
        [sys.executable, "-c", BY_HAND], env={**os.environ, **environment},
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    found: dict[str, list[float]] = json.loads(done.stdout)
    return found


def test_kernels_give_the_same_numbers_without_compilation() -> None:
    compiled, plain = numbers(), numbers(NUMBA_DISABLE_JIT="1")
    assert set(compiled) == set(plain)
    for name, values in compiled.items():
        # a compiler may fuse a multiplication and an addition: last bits only
        np.testing.assert_allclose(values, plain[name], rtol=1e-13, atol=1e-15, err_msg=name)
        assert np.isfinite(values).all()


def test_kernels_stay_within_their_arrays(tmp_path: Path) -> None:
    # a cache of its own: numba would take compiled code without the checks from a shared one
    checked = numbers(NUMBA_BOUNDSCHECK="1", NUMBA_CACHE_DIR=str(tmp_path))
    for name, values in numbers().items():
        np.testing.assert_allclose(values, checked[name], rtol=1e-13, atol=1e-15, err_msg=name)
