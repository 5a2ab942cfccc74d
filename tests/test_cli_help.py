"""Help comes at once, shows an example, and a slip of the hand is answered with the nearest word."""

import shlex
import subprocess
import sys

import click
import pytest

from mockup.cli import cli, run

HEAVY = "numpy cv2 PIL skimage shapely scipy svgelements PyOpenColorIO pikepdf fontTools"


def commands(group=cli, path=()):
    for name, command in group.commands.items():
        yield (*path, name), command
        if isinstance(command, click.Group):
            yield from commands(command, (*path, name))


ALL = list(commands())


def test_the_commands_of_this_stage():
    assert [" ".join(p) for p, _ in ALL] == ["demo", "new", "bench", "sheet", "share", "render", "approve", "dossier", "verify",
                                             "print", "shop", "compare", "colours", "card", "board", "place", "stain", "stain list", "stain show", "stain fit", "stain match",
                                             "wood", "wood list", "wood make"]


@pytest.mark.parametrize("command", [
    ["import mockup.cli"], ["from mockup.cli import run; run(['--help'])"], ["from mockup.cli import run; run(['sheet', '--help'])"],
], ids=["import", "--help", "sheet --help"])
def test_help_loads_no_imaging_library(command):
    code = f"{command[0]}\nimport sys\nprint('loaded', [n for n in '{HEAVY}'.split() if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("loaded []\n")


@pytest.mark.parametrize("path", [p for p, _ in ALL], ids=" ".join)
def test_each_help_has_an_example_that_is_understood(path, capsys):
    assert run([*path, "--help"]) == 0
    page = capsys.readouterr().out
    assert page.startswith(f"mockup {' '.join(path)}")
    examples = page[page.index("\nexample"):].split("\n")[2:]
    examples = [shlex.split(line) for line in examples if line.strip()]
    assert examples
    for words in examples:
        assert words[0] == "mockup" and tuple(words[1:len(path) + 1]) == path
        command, arguments = cli, words[1:]
        while isinstance(command, click.Group):
            command, arguments = command.commands[arguments[0]], arguments[1:]
        command.make_context("example", arguments)  # raises when an option of the example is unknown
    assert not set(page) & set("│─╭╮╰╯━"), "no boxes"


def test_no_words_gives_help(capsys):
    assert run([]) == 0
    assert "examples\n  mockup demo" in capsys.readouterr().out


@pytest.mark.parametrize("arguments, told", [
    (["rendr", "x"], 'mockup: There is no command "rendr". Did you mean "render"?'),
    (["stain", "lst"], 'mockup stain: There is no command "lst". Did you mean "list"?'),
    (["qqqq"], 'mockup: There is no command "qqqq". See mockup --help.'),
    (["render", "x", "--varient", "a"], 'mockup render: There is no option "--varient". Did you mean "--variant"?'),
    (["render"], "mockup render: SCENE is missing. See mockup render --help."),
    (["render", "a", "b"], 'mockup render: Got unexpected extra argument (b). See mockup render --help.'),
    (["render", "x", "--side", "top"], 'mockup render --side: "top" is not one of "front", "back", "both". See mockup render --help.'),
    (["render", "x", "--scale", "big"], 'mockup render --scale: "big" is not a number. See mockup render --help.'),
    (["render", "x", "--scale"], "mockup render: Option \"--scale\" requires an argument. See mockup render --help."),
    (["render", "x", "--part", "top"], "mockup render: --part goes with --show placement. See mockup render --help."),
    (["render", "ternn"], 'mockup render: There is no scene "ternn". Did you mean "tern"? Or give the path of a scene file.'),
])
def test_slips_are_told_in_one_line(arguments, told, capsys):
    assert run(arguments) == 2
    out, err = capsys.readouterr()
    assert (out, err) == ("", told + "\n")


def test_a_line_stays_one_line(capsys):
    assert run(["render", "no\nsuch\tscene.toml"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
