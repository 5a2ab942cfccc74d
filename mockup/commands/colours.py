"""``mockup colours``: what each part measures bare, and should measure finished."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from .output import opened
from .plain import PlainCommand, scene_argument, variant_option
from .progress import progress

__all__ = ["colours"]

LIGHTS = {"daylight": "daylight", "warm": "warm lamp", "led": "LED"}


@click.command(cls=PlainCommand, example="mockup colours tern --variant honey\nmockup colours tern --light warm\n"
                                         "mockup colours tern --variant honey --years 20")
@scene_argument
@variant_option
@click.option("--light", metavar="daylight|warm|led", type=click.Choice(["daylight", "warm", "led"]), default="daylight",
              help="Also under a warm lamp or a white LED: an estimate.")
@click.option("--years", metavar="N", type=float, default=0.0, help="Also after so many years, 0 to 60: an estimate.")
@click.option("--case", "dark", is_flag=True, help="With --years: kept in its case, not in a room's light.")
@click.option("--json", "as_json", is_flag=True, help="For another program to read.")
def colours(scene: str, variant: str | None, light: str, years: float, dark: bool, as_json: bool) -> None:
    """Give each part's colour, bare and finished, as Lab (D65, glare excluded)."""
    from ..render.colours import colours as part_colours
    from ..render.kept import Kept
    from ..papers.describe import assumed_bare

    if dark and not years:
        raise click.UsageError("--case goes with --years.", click.get_current_context())

    loaded = opened(scene)
    chosen = loaded if variant is None else loaded.with_variant(variant)
    with progress(f"Measuring {chosen.name}"):
        kept = Kept()
        parts = part_colours(chosen, kept=kept)
        changed = {}
        if light != "daylight" or years:
            from ..render.elsewhen import changed_colours

            changed = {c.part: c for c in changed_colours(chosen, parts, light=LIGHTS[light], years=years, dark=dark, kept=kept)}
    if as_json:
        plain = {"scene": chosen.name, "variant": variant, "space": "CIE Lab, D65, 2 degree observer",
                 "parts": [asdict(part) for part in parts]}
        if changed:
            plain["estimates"] = [asdict(c) for c in changed.values()]
        click.echo(json.dumps(plain, indent=2, ensure_ascii=False))
        return
    for part in parts:
        wood = f"{part.wood}, {'the actual board' if part.actual else 'indicative wood'}"
        click.echo(f"{part.part}: {part.title}, {wood}")
        for label, lab in (("bare", part.bare_lab), ("finished", part.finished_lab), ("middle", part.middle_lab), ("edge", part.edge_lab),
                           ("if light", part.light_lab), ("if dark", part.dark_lab)):
            if lab is not None:
                click.echo(f"  {label:<9} L* {lab[0]:5.1f}   a* {lab[1]:5.1f}   b* {lab[2]:5.1f}")
        click.echo(f"  expected  95 of 100 finished parts within ΔE00 {part.error:.1f} of the finished mean"
                   f"{', if it measures bare as above' if assumed_bare(chosen, part.part) else ''}")
        click.echo(f"  board     95 % of its 10 mm patches within ΔE00 {part.spread:.1f} of their mean")
        click.echo(f"  basis     {part.basis}")
        if part.part in changed:
            _tell_change(changed[part.part])


def _tell_change(change) -> None:
    """The lines of an estimate: the colour, how far it went, how far it may be off, and why."""
    words = [f"{change.years:g} year{'s' * (change.years != 1)}"] if change.years else []
    if change.light != "daylight":
        words.append({"warm lamp": "under a warm lamp", "LED": "under a white LED"}[change.light])
    label, before = ("after", "new in daylight") if change.years else ("lit", "daylight")
    lightness, a, b = change.lab
    click.echo(f"  {label:<9} L* {lightness:5.1f}   a* {a:5.1f}   b* {b:5.1f}   {' and '.join(words)}: ΔE00 {change.change:.1f} from {before}, "
               "an estimate")
    for label, lab in (("at least", change.less), ("at most", change.more)):
        if lab is not None:
            click.echo(f"  {label:<9} L* {lab[0]:5.1f}   a* {lab[1]:5.1f}   b* {lab[2]:5.1f}")
    click.echo(f"  because   {change.basis}")
