"""``mockup colours``: what each part measures bare, and should measure finished."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from .plain import PlainCommand, scene_argument, variant_option
from .progress import progress

__all__ = ["colours"]


@click.command(cls=PlainCommand, example="mockup colours tern --variant honey")
@scene_argument
@variant_option
@click.option("--json", "as_json", is_flag=True, help="For another program to read.")
def colours(scene: str, variant: str | None, as_json: bool) -> None:
    """Give each part's colour, bare and finished, as Lab (D65, glare excluded)."""
    from ..render.colours import colours as part_colours
    from ..scene.load import load_scene

    loaded = load_scene(scene)
    chosen = loaded if variant is None else loaded.with_variant(variant)
    with progress(f"Measuring {chosen.name}"):
        parts = part_colours(chosen)
    if as_json:
        plain = {"scene": chosen.name, "variant": variant, "space": "CIE Lab, D65, 2 degree observer",
                 "parts": [asdict(part) for part in parts]}
        click.echo(json.dumps(plain, indent=2, ensure_ascii=False))
        return
    for part in parts:
        wood = f"{part.wood}, {'the actual board' if part.actual else 'indicative wood'}"
        click.echo(f"{part.part}: {part.title}, {wood}")
        click.echo(f"  bare      L* {part.bare_lab[0]:5.1f}   a* {part.bare_lab[1]:5.1f}   b* {part.bare_lab[2]:5.1f}")
        click.echo(f"  finished  L* {part.finished_lab[0]:5.1f}   a* {part.finished_lab[1]:5.1f}   b* {part.finished_lab[2]:5.1f}")
        click.echo(f"  range     95 % of 10 mm patches lie within ΔE00 {part.spread:.1f} of the finished mean")
        click.echo(f"  basis     {part.basis}")
