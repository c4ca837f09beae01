"""Every command of this program that a document shows is one that its own parser takes."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def list_commands(text: str) -> Iterator[str]:
    """Yield what follows ``manage.py`` in blocks of code and between backticks, joined over line ends."""
    blocks = re.findall(r"```\w*\n(.*?)```", text, re.S)
    lines = [line.partition("  #")[0] for block in blocks for line in block.replace("\\\n", " ").splitlines()]
    spans = [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", re.sub(r"```.*?```", "", text, flags=re.S))]
    for piece in (*lines, *spans):
        for command in re.split(r"&&|;|\|", piece):
            found = re.search(r"manage\.py ([a-z_]+.*)", command)
            if found:
                yield found[1].strip()


def check_command(command: str) -> None:
    name, *words = shlex.split(re.sub(r"\[[^\]]*\]|>.*$", "", command))
    commands = get_commands()
    assert name in commands, f"there is no command {name}"
    app = commands[name]
    parser = (load_command_class(app, name) if isinstance(app, str) else app).create_parser("manage.py", name)
    parser.parse_args([re.sub(r"^(N|YEARS)$", "3", word).replace("DAY", "2026-01-31") for word in words])


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_documented_commands_parse(path: Path) -> None:
    wrong = []
    for command in list_commands(path.read_text()):
        try:
            check_command(command)
        except (Exception, SystemExit) as error:
            wrong.append(f"{command}: {error}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("command", ["no_such_command", "personal_data erase A", "terms check"])
def test_wrong_commands_are_noticed(command: str) -> None:
    assert list(list_commands(f"`manage.py {command}`")) == [command]
    with pytest.raises((Exception, SystemExit)):
        check_command(command)
