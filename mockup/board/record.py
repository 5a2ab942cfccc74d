"""The TOML beside a board: what a scene reads, what was done, and how good it is."""

from __future__ import annotations

import json

import numpy as np

from mockup.board.calibrate import Calibrated

__all__ = ["board_toml"]


def board_toml(board: Calibrated, *, picture: str, mask: str, source: str, sha256: str, wood: str, actual: bool,
               notes: tuple[str, ...] = (), dip: str | None = None) -> str:
    """The record as TOML text; the same board gives the same text.

    picture, mask  file names beside it; source, sha256  the photo's name and hash.
    notes          what reading the photo did.
    dip            file name of the fibre angles, where two photos told them.
    """
    m, survey, light = board.measures, board.survey, board.recipe.light
    height, width = board.pixels.shape[:2]
    lines = [
        "# A calibrated board. The four values up to grain are those a scene asks for.",
        f"mm_per_pixel = {_number(board.mm_per_pixel, 8)}",
        f"wood = {_text(wood)}",
        f"actual = {_flag(actual)}",
        f"grain = {_number(_grain(board), 1)}  # degrees, 0 = along the picture's width",
        f"picture = {_text(picture)}",
        f"mask = {_text(mask)}  # 255 wood, 128 glare, 64 burnt out or black, 0 paper or not seen",
        *([f"dip = {_text(dip)}  # angle of the fibres: 32768 level, 256 a degree, rising along the grain"] if dip else []),
        f"size_mm = [{_number(width * board.mm_per_pixel, 2)}, {_number(height * board.mm_per_pixel, 2)}]",
        f"mean_lab = [{', '.join(_number(v, 2) for v in board.mean_lab)}]  # D65, 45/0, of what is usable",
        f"made = {_text('photographed: ' + '; '.join(board.done))}",
        "",
        "[source]",
        f"file = {_text(source)}",
        f"sha256 = {_text(sha256)}",
        f"read = [{', '.join(_text(n) for n in notes)}]",
        "",
        "[done]",
        f"plane = {_text(survey.how)}",
        *([f"markers = {survey.plane.markers}", f"corner_residual_px = {_number(survey.plane.residual, 3)}",
           f"lens = [{', '.join(_number(v, 6) for v in survey.plane.lens)}]"]
          if survey.how == "sheet" else []),
        *([f"outline_mm = [{_number(survey.edges.size[0], 2)}, {_number(survey.edges.size[1], 2)}]"]
          if survey.edges else []),
        f"tone = [{_number(light.tone.lift, 4)}, {_number(light.tone.bend, 4)}]",
        f"light = [{', '.join(_number(v, 5) for v in light.shape)}]",
        f"correction = {_text(board.recipe.kind)}",
        f"weights = [{', '.join('[' + ', '.join(_number(v, 6) for v in row) + ']' for row in board.recipe.weights)}]",
        "",
        "[quality]",
        f"colour_basis = {_text(m.basis)}",
        *([f"colour_error = {_number(m.colour_error, 2)}  # ΔE00 to expect"] if m.colour_error is not None else []),
        *([f"target_left_out = [{_number(board.recipe.correction.error, 2)}, {_number(board.recipe.correction.worst, 2)}]"
           "  # ΔE00 of patches left out one by one: mean, worst"] if board.recipe.correction else []),
        *([f"length_error = {_number(m.scale_error, 5)}  # share, two standard deviations"]
          if m.scale_error is not None else []),
        *([f"contrast_error = {_number(m.contrast_error, 3)}  # share, two standard deviations"]
          if m.contrast_error is not None else []),
        f"px_per_mm = {_number(m.px_per_mm, 2)}",
        *([f"edge_px = {_number(m.blur_px, 2)}"] if m.blur_px is not None else []),
        f"light_fall = {_number(m.fall, 2)}",
        *([f"light_left = {_number(m.uneven, 4)}"] if m.uneven is not None else []),
        *([f"brightness_varies = {_number(m.varies, 4)}  # squares of about 40 mm, light off: the wood's own and what is left"]
          if m.varies is not None else []),
        f"clipped = {_number(m.clipped, 4)}",
        f"glare = {_number(m.glare, 4)}",
        f"covered = {_number(m.hidden, 4)}",
        "",
    ]
    for finding in board.verdict:
        lines += ["[[verdict]]", f"topic = {_text(finding.topic)}", f"level = {_text(finding.level)}",
                  f"found = {_text(finding.found)}"]
        lines += [f"advice = {_text(finding.advice)}"] if finding.advice else []
        lines.append("")
    return "\n".join(lines)


def _grain(board: Calibrated) -> float:
    """Unclear grain is taken to run along the board."""
    angle, clear = board.grain
    if clear < 0.15:
        return 0.0 if board.pixels.shape[1] >= board.pixels.shape[0] else 90.0
    return angle


def _number(value: float, digits: int) -> str:
    text = f"{float(value):.{digits}f}"
    text = text.rstrip("0") if "." in text else text
    text = text + "0" if text.endswith(".") else text
    return "0.0" if float(text) == 0 or not np.isfinite(float(text)) else text


def _text(words: str) -> str:
    # JSON's escapes are TOML's, but for DEL, which TOML wants escaped too.
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007F")


def _flag(value: bool) -> str:
    return "true" if value else "false"
