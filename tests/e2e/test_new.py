"""runtrue new and schema: the two commands that write a text."""

import json
from pathlib import Path

import pytest

from sim.config import json_schema, starting_config


def test_new_writes_the_starting_file_and_tells_what_to_do(call, folder):
    answer = call("new", "zander-1")
    assert (answer.code, answer.stderr) == (0, "")
    assert Path("zander-1.toml").read_text() == starting_config("zander-1")
    assert answer.stdout.startswith("Wrote zander-1.toml\n")
    for command in ("check", "weigh", "run"):
        assert f"  runtrue {command} zander-1.toml " in answer.stdout
    assert [p.name for p in Path.cwd().iterdir()] == ["zander-1.toml"]


def test_an_ending_in_the_name_is_taken_off(call, folder):
    call("new", "zander.toml")
    assert Path("zander.toml").read_text() == starting_config("zander")


def test_new_into_another_file(call, folder):
    answer = call("new", "zander", "--output", "baits/deep/z.toml")
    assert answer.code == 0
    assert Path("baits/deep/z.toml").read_text() == starting_config("zander")
    assert f"runtrue check {Path('baits/deep/z.toml')}" in answer.stdout


def test_new_keeps_an_existing_file(call, pike):
    pike.write_text("mine")
    answer = call("new", "pike")
    assert (answer.code, answer.stdout) == (1, "")
    assert answer.stderr == (
        "pike.toml: exists already. Use another --output, or --force to replace it.\n"
    )
    assert pike.read_text() == "mine"
    assert call("new", "pike", "--force").code == 0
    assert pike.read_text() == starting_config("pike")


@pytest.mark.parametrize("name", ["my bait", "../pike", "a/b", "", "-", "köder", "x" * 101])
def test_names_that_cannot_name_a_file(call, folder, name):
    answer = call("new", "--", name)
    assert (answer.code, answer.stdout) == (2, "")
    assert "must be letters a to z, digits, - _ and . only" in answer.stderr
    assert list(Path.cwd().iterdir()) == []


def test_new_where_no_file_can_be(call, pike):
    answer = call("new", "zander", "--output", "pike.toml/z.toml")
    assert answer.code == 1
    assert "is a file and not a folder" in answer.stderr


def test_the_way_a_new_user_goes(shell, folder):
    assert shell("new", "pike").code == 0
    assert shell("check", "pike.toml").stdout == "pike.toml: ok\n"
    assert "Added mass" in shell("weigh", "pike.toml").stdout
    ran = shell("run", "pike.toml")
    assert (ran.code, ran.stderr) == (0, "")
    shown = shell("show", "results/pike.h5")
    assert (shown.code, shown.stderr) == (0, "")
    until = ran.stdout.index("\n  Config")
    assert shown.stdout[:until] == ran.stdout[:until]


def test_schema(call, folder):
    answer = call("schema")
    assert (answer.code, answer.stderr) == (0, "")
    assert json.loads(answer.stdout) == json_schema()
    assert list(Path.cwd().iterdir()) == []
    written = call("schema", "--output", "docs/s.json")
    assert written.stdout == f"Wrote {Path('docs/s.json')}\n"
    assert Path("docs/s.json").read_text() == answer.stdout


def test_schema_keeps_an_existing_file(call, folder):
    Path("s.json").write_text("mine")
    answer = call("schema", "--output", "s.json")
    assert answer.code == 1
    assert "s.json: exists already" in answer.stderr
    assert Path("s.json").read_text() == "mine"
    assert call("schema", "--output", "s.json", "--force").code == 0
    assert json.loads(Path("s.json").read_text()) == json_schema()
