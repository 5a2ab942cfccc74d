"""``mockup demo``: variants side by side."""
from __future__ import annotations
import click
from .plain import PlainCommand, scene_argument
__all__ = ["demo"]
@click.command(cls=PlainCommand, example="mockup demo tern")
@scene_argument
def demo(scene): ...
