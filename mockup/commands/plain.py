"""The look of the help pages: a line of use, a sentence, options, an example. No boxes, no colour."""

from __future__ import annotations

import click

__all__ = ["PlainCommand", "PlainGroup", "scene_argument", "variant_option"]

WIDTH = 100
ARGUMENTS = {
    "SCENE": "A scene file, the folder it is in, or the name of a built-in scene, such as tern.",
    "[SCENE]": "As for other commands; left out, the scene of this folder, else the built-in tern.",
    "DIR": "A folder, made if it is not there.",
    "PHOTO": "A photo or scan: jpg, heic, png, webp, tif; raw files with mockup[raw] installed.",
    "[VARIANT]...": "Which to show, in this order; left out, all of the scene.",
    "SPECIES": 'A kind of wood, as "wood list --kinds" names it.',
    "[NAME]": "A stain of the library, or a stain file of your own.",
    "RECORD": "The json file that an approval came with.",
}


class _Plain:
    """Help pages in our own words; ``example`` holds command lines, one a line."""

    def __init__(self, *args, example: str = "", **kwargs) -> None:
        kwargs.setdefault("context_settings", {"help_option_names": ["-h", "--help"], "max_content_width": WIDTH})
        super().__init__(*args, options_metavar="[options]", add_help_option=True, **kwargs)
        self.example = example

    def format_usage(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        pieces = self.collect_usage_pieces(ctx)
        # What must be given comes first, as it is typed.
        pieces.sort(key=lambda piece: piece.startswith("["))
        formatter.write(" ".join([ctx.command_path, *pieces]) + "\n")

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        named = [p for p in self.get_params(ctx) if isinstance(p, click.Argument)]
        self._table(formatter, "arguments", [(p.make_metavar(ctx), ARGUMENTS.get(p.make_metavar(ctx), "")) for p in named])
        if isinstance(self, click.Group):
            self.format_commands(ctx, formatter)
        self._table(formatter, "options", [r for p in self.get_params(ctx) if p not in named and (r := p.get_help_record(ctx))])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        if self.example:
            lines = self.example.split("\n")
            formatter.write(f"\n{'examples' if len(lines) > 1 else 'example'}\n")
            for line in lines:
                formatter.write(f"  {line}\n")

    def _table(self, formatter: click.HelpFormatter, title: str, rows: list[tuple[str, str]]) -> None:
        if rows:
            formatter.write(f"\n{title}\n")
            formatter.indent()
            formatter.write_dl(rows)
            formatter.dedent()


class PlainCommand(_Plain, click.Command):
    """One command."""


class PlainGroup(_Plain, click.Group):
    """A command that holds commands."""

    command_class = PlainCommand

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, subcommand_metavar="COMMAND", **kwargs)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the work, not of the alphabet."""
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, command.get_short_help_str(WIDTH)) for name in self.list_commands(ctx)
                if (command := self.get_command(ctx, name)) is not None]
        self._table(formatter, "commands", rows)


def scene_argument(function):
    """The argument SCENE: a scene file, its folder, or the name of a built-in scene."""
    return click.argument("scene", metavar="SCENE")(function)


def variant_option(function):
    """The option --variant."""
    return click.option("--variant", metavar="NAME", help="One of the scene's variants; left out, the scene as it stands.")(function)
