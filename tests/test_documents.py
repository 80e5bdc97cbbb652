"""The documents keep their word: commands are one line, what they name exists, links lead somewhere."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from strandgauge.cli.app import run

ROOT = Path(__file__).parents[1]
DOCUMENTS = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])


def test_the_readme_has_one_line_to_read_a_sample_and_one_to_run_the_tests():
    read, test = (block for block in _readme_blocks() if " install " in block)
    assert "\n" not in read + test
    sample = read.split()[-1]
    assert (ROOT / sample).is_file(), sample
    assert "'.[test]'" in test
    assert test.endswith("-m pytest")


def _readme_blocks() -> list[str]:
    """Return the README's blocks of shell commands."""
    blocks = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
    return [block.strip() for block in blocks]


def test_the_readmes_commands_work_as_pasted(tmp_path, monkeypatch, capsys):
    """Those that follow the installing, in a folder with the samples in it."""
    (tmp_path / "sample_images").symlink_to(ROOT / "sample_images")
    (block,) = (block for block in _readme_blocks() if "activate" in block)
    commands = [line.split("#")[0].strip() for line in block.splitlines() if line.startswith("strandgauge ")]
    assert len(commands) >= 4
    installed = Path(sys.executable).parent
    first, *others = commands
    done = subprocess.run(
        first,
        shell=True,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env={**os.environ, "PATH": f"{installed}{os.pathsep}{os.environ['PATH']}"},
    )
    assert done.returncode == 0, (first, done.stderr)
    assert done.stdout
    monkeypatch.chdir(tmp_path)
    for command in others:  # as the program itself takes them apart, without a process for each
        assert run(shlex.split(command)[1:]) == 0, command
        assert capsys.readouterr().out


def test_the_check_script_runs_the_readmes_own_line():
    """What the script takes from the README is run here, without the installing and testing that follow from it."""
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    taking = [line for line in script.read_text().splitlines() if re.match("(commands|install|tests)=", line)]
    taken = subprocess.run(
        ["bash", "-euc", "\n".join([*taking, 'echo "$install"', 'echo "$tests"'])],
        cwd=ROOT,
        capture_output=True,
        check=True,
        text=True,
    ).stdout.splitlines()
    (line,) = (one for one in (ROOT / "README.md").read_text().splitlines() if "'.[test]'" in one)
    assert " && ".join(taken) == line.replace(".venv", ".ci/venv")
    assert taken[-1].endswith("-m pytest")
    assert script.read_text().rstrip().endswith('eval "$tests"')


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda document: document.name)
def test_links_lead_somewhere(document):
    text = document.read_text()
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text) + re.findall(r'src="([^"]+)"', text)
    missing = [link for link in links if "://" not in link and not (document.parent / link).exists()]
    assert not missing
