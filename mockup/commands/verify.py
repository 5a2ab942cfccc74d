"""``mockup verify``: variants side by side."""
from __future__ import annotations
import click
from .plain import PlainCommand, scene_argument
__all__ = ["verify"]
@click.command(cls=PlainCommand, example="mockup verify tern")
@scene_argument
def verify(scene): ...
