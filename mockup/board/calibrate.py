"""From one photograph to a calibrated board: the whole way, on arrays."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from mockup.board.correct import fit_correction
from mockup.board.develop import Recipe, develop, develop_view
from mockup.board.flatten import brightest, view_scale
from mockup.board.glare import Spoilt, find_spoilt
from mockup.board.grain import grain_angle
from mockup.board.light import Light, Spots, fit_light
from mockup.board.sheet import RULER, Sheet, reference_sheet
from mockup.board.spots import grey_spots, panel_grey, paper_spots, target_spots, wood_spots
from mockup.board.survey import Survey, survey_corners, survey_scan, survey_sheet
from mockup.board.target import EDITIONS, Target, find_target, target_from_corners, target_linear
from mockup.board.verdict import CAMERA, Finding, Measures, judge
from mockup.colour.spaces import linear_to_lab, luminance
from mockup.errors import MockupError, nearest

__all__ = ["Calibrated", "Wanted", "calibrate"]

Array = np.ndarray

_DARK = 0.012      # brightness of the board, as the file says it, below which it is a night photo
_BLUR = 2.2        # mm, width of an edge that no figure survives
_MOST = 110_000_000  # pixels of a board


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """What the maker said.

    corners, size  four corners in the photo (4, 2) px and the board in mm; with markers, ``size`` alone checks the scale.
    dpi            of a flat scan.
    ruler          what the sheet's 100 mm ruler measures.
    sheet          another marker sheet in place of the printed one.
    grey           x, y of a grey card in the photo; ``grey_value`` its reflectance.
    target         edition of the 24-patch target to look for, "after-2014" or "before-2014".
    target_at      middles of its corner patches (4, 2) px, where it is not found by itself.
    straight       whether the photo has no tone curve, as one from a camera's raw file.
    """

    corners: tuple[tuple[float, float], ...] | None = None
    size: tuple[float, float] | None = None
    dpi: float | None = None
    ruler: float = RULER
    sheet: Sheet | None = None
    grey: tuple[float, float] | None = None
    grey_value: float = 0.18
    target: str | None = None
    target_at: tuple[tuple[float, float], ...] | None = None
    straight: bool = False

    def __post_init__(self) -> None:
        if self.corners is not None and self.dpi is not None:
            raise MockupError("Both corners and dpi were given.", fix="A scan needs --dpi, a photo --corners.")
        if self.corners is not None and self.size is None:
            raise MockupError("The corners were given without the board's size.",
                              fix="Add its width and height in mm, as --size 600x200.", where="size")
        if not 0.02 <= self.grey_value <= 0.95:
            raise MockupError(f"A grey card that reflects {self.grey_value:g} of the light cannot be used.",
                              fix="Give its reflectance as a share, as 0.18.", where="grey_value")
        if self.target is not None and self.target not in EDITIONS:
            raise MockupError(f'There is no edition "{self.target}" of the 24-patch target.',
                              fix=nearest(self.target, EDITIONS), where="target")
        if self.target_at is not None and self.target is None:
            raise MockupError("The target's place was given, but not its edition.",
                              fix=f"Add one of: {', '.join(EDITIONS)}.", where="target")


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A board, measured.

    pixels     (H, W, 3) uint16, linear reflectance, 65535 = perfect white diffuser.
    px_per_mm  of ``pixels``; both ways.
    usable     (h, w) uint8 over the working view's board: 255 wood, 128 glare, 64 burnt out or black, 0 paper or not seen.
    grain      degrees clockwise from x, and how clear it is (0..1).
    """

    pixels: Array
    px_per_mm: float
    usable: Array
    grain: tuple[float, float]
    survey: Survey
    recipe: Recipe
    spoilt: Spoilt
    measures: Measures
    verdict: tuple[Finding, ...]
    done: tuple[str, ...]

    @property
    def mm_per_pixel(self) -> float:
        return 1 / self.px_per_mm

    @property
    def mean_lab(self) -> Array:
        """(3,) Lab of the mean reflectance of what is usable."""
        small = cv2.resize(self.pixels, self.usable.shape[::-1], interpolation=cv2.INTER_AREA)
        return linear_to_lab(small[self.usable == 255].mean(0) / 65535)


def calibrate(pixels: Array, wanted: Wanted = Wanted(), *, px_per_mm: float | None = None, survey: Survey | None = None) -> Calibrated:
    """Calibrate a board from a photo, (H, W, 3) uint16 linear sRGB as ``files.photo.read_photo`` gives it.

    px_per_mm  of the result; None takes what the photo holds. Raises
               MockupError, with the remedy, for a photo that cannot be used.
    survey     where the wood lies, when that is known better than by a board's edges.
    """
    target = _target(pixels, wanted)
    survey = _survey(pixels, wanted, target) if survey is None else survey
    edge = _blur(survey)
    recipe, measures, spoilt, told = _light_and_colour(pixels, survey, wanted, target)
    rows, cols = survey.view.board(survey.size)
    view = develop_view(survey.view.pixels[rows, cols], _corner(survey, rows, cols), survey.view.px_per_mm, recipe)
    hidden = survey.hidden(1.0)[rows, cols]
    usable = np.full(hidden.shape, 255, np.uint8)
    usable[spoilt.glare] = 128
    usable[spoilt.clipped | spoilt.dark] = 64
    usable[hidden] = 0
    if (usable == 255).mean() < 0.15:
        raise MockupError("Hardly any of the board can be used: it is burnt out, mirrors a light, or is covered.",
                          fix="Turn off the lamp above it, use the window, and take the photo a little darker.")
    grain = grain_angle(np.log(np.maximum(luminance(view), 1e-3)), usable == 255, survey.view.px_per_mm)
    scale = px_per_mm or _round(view_scale(survey.plane, survey.size))
    most = np.sqrt(_MOST / (survey.size[0] * survey.size[1]))
    scale = min(scale, float(most))
    board = develop(pixels, survey.plane, survey.size, scale, recipe)
    measures = replace(measures, blur_px=edge, px_per_mm=view_scale(survey.plane, survey.size))
    return Calibrated(board, scale, usable, grain, survey, recipe, spoilt, measures, judge(measures),
                      (*_how(survey, wanted), *told))


def _round(scale: float) -> float:
    """A tenth of a pixel per mm, so that the numbers in the file are plain."""
    return max(round(scale, 1), 0.2)


def _target(pixels: Array, wanted: Wanted) -> Target | None:
    if wanted.target is None:
        return None
    if wanted.target_at is not None:
        return target_from_corners(np.array(wanted.target_at, float), pixels.shape[1::-1])
    target = find_target(pixels)
    if target is None:
        raise MockupError("The 24-patch target was not found in this photo.",
                          fix="Show all of it, flat and unshaded, or give the middles of its corner patches.", where="target")
    return target


def _survey(pixels: Array, wanted: Wanted, target: Target | None) -> Survey:
    if wanted.dpi is not None:
        return survey_scan(pixels, wanted.dpi)
    _refuse_unusable(pixels)
    if wanted.corners is not None:
        return survey_corners(pixels, np.array(wanted.corners, float), wanted.size)
    sheet = wanted.sheet.scaled(wanted.ruler / RULER) if wanted.sheet else reference_sheet(wanted.ruler)
    return survey_sheet(pixels, sheet, size=wanted.size, target=target)


def _refuse_unusable(pixels: Array) -> None:
    """Night photos and screenshots."""
    small = brightest(np.ascontiguousarray(pixels[::8, ::8]))
    if float(np.percentile(small, 98)) < 0.02 * 65535:
        raise MockupError("This photo was taken in the dark: there is more noise than wood in it.",
                          fix="Take it by daylight near a window, without flash.")
    height = len(pixels)
    ends = [*range(0, height // 6, max(height // 600, 1)), *range(height - height // 6, height, max(height // 600, 1))]
    flat = np.array([(pixels[k, ::7] == pixels[k, 0]).all() for k in ends])
    if flat.mean() > 0.12:
        raise MockupError("This looks like a screenshot: there are bars of one flat colour in it.",
                          fix="Use the camera's own file, not a picture of the screen.")


def _blur(survey: Survey) -> float | None:
    """Width of an edge at half its height, px; MockupError when nothing of the figure is left."""
    if survey.markers is None or not len(survey.markers.spread):
        return None
    edge = 2.355 * float(np.median(survey.markers.spread))
    scale = view_scale(survey.plane, survey.size)
    if edge / scale > _BLUR:
        raise MockupError(f"The photo is blurred: edges are {edge / scale:.1f} mm wide on the board.",
                          fix="Lean the phone on something or use its timer, touch the board to focus, and take it again.")
    return edge


def _corner(survey: Survey, rows: slice, cols: slice) -> tuple[float, float]:
    """mm on the board of the outer corner of a part of the view."""
    view = survey.view
    return (view.origin[0] + cols.start / view.px_per_mm, view.origin[1] + rows.start / view.px_per_mm)


def _light_and_colour(pixels: Array, survey: Survey, wanted: Wanted, target: Target | None):
    rows, cols = survey.view.board(survey.size)
    seen = survey.view.pixels[rows, cols]
    hidden = survey.hidden(1.0)
    closed = hidden[rows, cols]
    mean = seen[~closed].mean(0) / 65535 if (~closed).any() else np.zeros(3)
    if wanted.dpi is None and float(mean @ (0.2126, 0.7152, 0.0722)) < _DARK and float(seen.max()) < 0.2 * 65535:
        raise MockupError("The board is too dark in this photo: there is more noise than wood in it.",
                          fix="Take it by daylight near a window, without flash.")
    told: list[str] = []
    spots, paper, burnt = _references(pixels, survey, wanted, told)
    extra = None
    if target is not None:
        greys, at, patches, usable = target_spots(pixels, survey, target, wanted.target)
        spots.append(greys)
        extra = at, patches, usable
    if wanted.dpi is None and survey.region is None:
        # A finished part may be a burst, darker toward its edge by design: only what is even tells of the light.
        spots.append(wood_spots(survey, hidden | _burnt(survey)))
    if wanted.dpi is not None and not spots:
        light = _even(survey)
    else:
        bright = np.log(np.maximum(luminance(seen / np.float32(65535)), 1e-3))
        light = fit_light(spots, survey.size, mean, along=grain_angle(bright, ~closed, survey.view.px_per_mm)[0],
                          straight=wanted.straight)
    recipe = Recipe(light)
    worst = None
    if extra is not None:
        at, patches, usable = extra
        even = light.tone.straighten(patches) / light.field(at)
        correction = fit_correction(even, target_linear(wanted.target), usable)
        recipe = Recipe(light, correction)
        worst = correction.worst
        kind = "a 3 x 3 matrix" if correction.kind == "matrix" else "an order-2 root-polynomial"
        told.append(f"colour by the 24-patch target ({wanted.target}), {correction.used} patches, {kind}")
    view = develop_view(seen, _corner(survey, rows, cols), survey.view.px_per_mm, recipe)
    wood = next((group for group in spots if group.kind == "wood"), None)
    varies = float(np.log(np.maximum(luminance(recipe.apply(wood.seen, wood.at)), 1e-3)).std()) if wood else None
    spoilt = find_spoilt(seen, view, closed, survey.view.px_per_mm)
    open_ = max(int((~closed).sum()), 1)
    error = _colour_error(recipe)
    measures = Measures(
        how=survey.how, scale_error=survey.scale_error, strange=survey.plane.strange,
        missing=survey.edges.missing if survey.edges else (), px_per_mm=0.0, blur_px=None, fall=light.fall,
        covered=light.covered, uneven=light.residual, clipped=spoilt.clipped.sum() / open_,
        dark=spoilt.dark.sum() / open_, glare=spoilt.glare.sum() / open_, hidden=float(closed.mean()),
        paper_burnt=burnt, basis=light.basis, colour_error=error, light_error=light.error, colour_worst=worst,
        contrast_error=light.contrast, varies=varies, size=survey.size if survey.how == "corners" else None,
        stretch=_stretch(survey) if survey.how == "corners" else 1.0)
    return recipe, measures, spoilt, told


def _stretch(survey: Survey) -> float:
    """Pixels of the photo per mm across the board over those down it, at its middle."""
    middle = np.array(survey.size) / 2
    here, right, below = survey.plane.to_image(middle + np.array([[0, 0], [1, 0], [0, 1]]))
    return float(np.linalg.norm(right - here) / np.linalg.norm(below - here))


def _references(pixels: Array, survey: Survey, wanted: Wanted, told: list[str]) -> tuple[list[Spots], Spots | None, bool]:
    """Paper and grey card, whether paper was burnt out, and words on what the level rests on."""
    spots: list[Spots] = []
    paper, burnt = paper_spots(survey), False
    if paper is not None:
        good = (paper.seen < 0.955).all(1)
        burnt = bool(good.mean() < 0.6)
        if not burnt:
            paper = Spots("paper", paper.at[good], paper.seen[good])
            spots.append(paper)
    if wanted.grey is not None:
        spots.append(grey_spots(pixels, survey, wanted.grey, wanted.grey_value))
        told.append(f"white and exposure by the grey card at {wanted.grey[0]:g},{wanted.grey[1]:g}")
    else:
        card = panel_grey(survey, paper, wanted.grey_value)
        if card is not None:
            spots.append(card)
            told.append("white and exposure by the grey card on panel E")
    if len(spots) == 1 and paper is not None and not burnt and wanted.target is None:
        told.append("white and exposure by the sheet's white paper, which is less certain")
    return spots, paper, burnt


def _burnt(survey: Survey) -> Array:
    return brightest(survey.view.pixels) > 0.97 * 65535


def _even(survey: Survey) -> Light:
    """A scanner's light: even, white, and as bright as the file says."""
    from mockup.board.tone import PLAIN

    w, h = survey.size
    return Light(PLAIN, (w / 2, h / 2), float(np.hypot(w, h) / 2), np.zeros(10), np.zeros((3, 5)), np.zeros(3),
                 "nothing", None, 1.0, 1.0, 0.0)


def _colour_error(recipe: Recipe) -> float | None:
    """ΔE00 to expect of the board's mean colour."""
    if recipe.correction is not None:
        return float(np.hypot(recipe.correction.error, 0.5 * min(recipe.light.error, 2.0)))
    if recipe.light.basis == "nothing":
        return None
    # ΔE00 is about 0.7 of ΔE of Lab at the colours of wood.
    return float(np.hypot(0.7 * recipe.light.error, CAMERA))


def _how(survey: Survey, wanted: Wanted) -> tuple[str, ...]:
    w, h = survey.size
    if survey.how == "scan":
        return (f"flat scan at {wanted.dpi:g} dots per inch",)
    if survey.how == "corners":
        return ("squared up by four given corners", f"scale by the given size, {w:g} x {h:g} mm")
    plane = survey.plane
    words = [f"squared up by {plane.markers} markers on {len(plane.placed)} pieces, corners within {plane.residual:.2f} px"]
    bend = abs(sum(plane.lens[:2])) * plane.half
    words.append(f"lens distortion taken off, {bend:.1f} px at the corners of the photo")
    if wanted.ruler != RULER:
        words.append(f"scale by the sheet, whose 100 mm ruler measures {wanted.ruler:g} mm")
    if survey.edges:
        w, h = survey.edges.size
        words.append(f"board found, {w:.1f} x {h:.1f} mm, and cropped just inside its edges")
    words.append("light evened out by " + ("the sheet's white paper" if survey.papers else "the wood itself"))
    return tuple(words)
