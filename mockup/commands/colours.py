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
        for label, lab in (("bare", part.bare_lab), ("finished", part.finished_lab), ("middle", part.middle_lab), ("edge", part.edge_lab),
                           ("if light", part.light_lab), ("if dark", part.dark_lab)):
            if lab is not None:
                click.echo(f"  {label:<9} L* {lab[0]:5.1f}   a* {lab[1]:5.1f}   b* {lab[2]:5.1f}")
        click.echo(f"  expected  95 of 100 finished parts within ΔE00 {part.error:.1f} of the finished mean")
        click.echo(f"  board     95 % of its 10 mm patches within ΔE00 {part.spread:.1f} of their mean")
        click.echo(f"  basis     {part.basis}")
