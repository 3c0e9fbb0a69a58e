"""README and DEVELOPERS say only what is so: their commands parse, their paths exist, their links lead somewhere."""

import argparse
import importlib.util
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from registry.cli import parser
from tests.rules.project import PROJECT, read, tracked_files

PAGES = [name for name in ("README.md", "DEVELOPERS.md", "deploy/BACKUP.md") if (PROJECT / name).exists()]
BLOCK = re.compile(
    r"^(?:```\w*\n(?P<fenced>.*?)^```|(?P<indented>(?:(?<=\n\n)|(?<=\n))(?: {4}[^\n]*\n|\n(?= {4}))+))",
    re.DOTALL | re.MULTILINE,
)
INLINE = re.compile(r"`([^`\n]+)`")
LINK = re.compile(r"!?\[[^\]]*\]\(([^)#\s]+)(#[^)]*)?\)")
# What a path looks like in prose: a folder or file of ours, without blanks or placeholders.
PATH = re.compile(r"^(?:registry|dashboards|migrations|tests|deploy|\.ci)/[\w./-]*$")


@pytest.mark.parametrize("page", PAGES)
def test_commands_on_the_page_exist(page: str) -> None:
    faults = [f"{command}: {fault}" for command in commands_of(read(page)) for fault in faults_of(command)]
    assert not faults


@pytest.mark.parametrize("page", PAGES)
def test_paths_on_the_page_exist(page: str) -> None:
    assert not list(missing_paths(read(page)))


@pytest.mark.parametrize("page", PAGES)
def test_links_on_the_page_lead_somewhere(page: str) -> None:
    links = [link for link, _ in LINK.findall(read(page)) if not link.startswith(("http:", "https:", "mailto:"))]
    assert not [link for link in links if not (PROJECT / link).exists()]


def test_the_readme_begins_with_the_job_and_the_two_commands() -> None:
    text = read("README.md")
    job, demo, test = text.find("\n\n"), text.find("sh deploy/demo.sh"), text.find("sh deploy/test.sh")
    assert 0 < job < demo < test
    assert re.search(r"!\[[^\]]+\]\([^)]+\)", text[test:]), "a picture follows the two commands"


def test_the_map_names_every_part_of_the_registry() -> None:
    parts = {
        name.split("/")[1].removesuffix(".py")
        for name in tracked_files()
        if re.match(r"registry/\w+(\.py|/\w+\.py)", name)
    }
    text = read("DEVELOPERS.md")
    assert not [part for part in sorted(parts) if part != "__init__" and not re.search(rf"\b{part}\b", text)]


def test_ci_runs_the_readme_s_test_command() -> None:
    assert "deploy/test.sh" in read(".ci/run")


@pytest.mark.parametrize(
    ("command", "good"),
    [
        ("sh deploy/test.sh", True),
        ("sh deploy/no_such_script.sh", False),
        ("jointwright check-setup --json", True),
        ("jointwright check-setup --no-such-option", False),
        ("jointwright no-such-command", False),
        ("JOINTWRIGHT_DATA_FOLDER=/tmp/x jointwright check-setup", True),
        (".venv/bin/python -m tests.no_such_module", False),
    ],
)
def test_a_command_that_does_not_exist_is_seen(command: str, good: bool) -> None:
    assert (not list(faults_of(command))) is good


def test_a_path_that_does_not_exist_is_seen() -> None:
    assert list(missing_paths("see `registry/no_such_room/` and `registry/db.py`")) == ["registry/no_such_room/"]


def commands_of(text: str) -> Iterator[str]:
    """The commands of ours on a page: lines of its blocks, and what stands in backquotes."""
    lines = [
        line.strip()
        for block in BLOCK.finditer(text)
        for line in (block["fenced"] or block["indented"] or "").splitlines()
    ]
    for line in [*lines, *INLINE.findall(text)]:
        command = line.removeprefix("$ ").partition("  #")[0].strip()
        if re.match(
            r"(?:\w+=\S+ )*(?:sh deploy/|\S*\bjointwright\s+[a-z]|\S*python[\d.]* (?:-m )?(?:tests|deploy|registry)\b)",
            command,
        ):
            yield command


def faults_of(command: str) -> Iterator[str]:
    """Why a command of the documentation would not work."""
    # Capitals and dots stand for what the reader fills in: they are words to the parser as well.
    words = [word for word in shlex.split(re.sub(r"\[([^\]]*)\]|…|\.\.\.", r"\1", command)) if word]
    while "=" in words[0]:
        words = words[1:]
    program, arguments = Path(words[0]).name, words[1:]
    if program == "sh":
        if not (PROJECT / arguments[0]).is_file():
            yield "no such script"
    elif program.startswith("python"):
        if arguments[0] == "-m" and importlib.util.find_spec(arguments[1]) is None:
            yield "no such module"
        if arguments[0] != "-m" and not (PROJECT / arguments[0]).is_file():
            yield "no such file"
    else:
        yield from _faults_of_arguments(parser(), arguments)


def _faults_of_arguments(top: argparse.ArgumentParser, arguments: list[str]) -> Iterator[str]:
    """Follow the subcommands, then ask of every option whether the last parser has it."""
    place = top
    options: set[str] = set(top._option_string_actions)
    for word in arguments:
        choices = _subcommands(place)
        if word.startswith("-"):
            if word.partition("=")[0] not in options:
                yield f"no option {word}"
        elif choices:
            for alternative in word.split("|"):
                if alternative not in choices:
                    yield f"no command {alternative}"
            place = choices.get(word.split("|")[0], place)
            options |= set(place._option_string_actions)
            if word.split("|")[0] not in choices:
                return


def _subcommands(place: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    for action in place._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    return {}


def missing_paths(text: str) -> Iterator[str]:
    """Paths of ours in backquotes that are not there; one with a star must match something."""
    for said in INLINE.findall(text):
        if PATH.match(said.replace("*", "x")) and not any(PROJECT.glob(said.rstrip("/"))):
            yield said
