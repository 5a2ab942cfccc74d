"""A recipe as work on days: operations in order, when each can be done, and how much material it takes."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..errors import MockupError
from ..finish.steps import Burst, Coat, Finish, GrainFill, Paint, RubbedEdge, SandBack, StainStep, Tint
from ..finish.words import step_words
from ..scene.values import Part, Scene
from .describe import capital, groups, listed
from .practice import FilmPractice, film_practice, grit_words, steps_practice
from .shop_values import Shop

__all__ = ["Material", "Operation", "Schedule", "amount_ml", "bought", "finish_area", "materials", "plain_materials", "plain_operations", "schedules",
           "start_date"]

GLOSS, LEVELLED = 70.0, 35.0  # GU from which a film is polished, and from which it is levelled at all


@dataclass(frozen=True, kw_only=True, slots=True)
class Operation:
    """Something done on a day, or waited for from one day to another.

    first, last  ISO 8601 days.
    kind         "work" or "wait".
    grits        FEPA P numbers that it takes.
    basis        "recipe", or where the practice comes from.
    """

    first: datetime.date
    last: datetime.date
    title: str
    detail: str
    kind: str
    grits: tuple[int, ...] = ()
    coats: int = 0
    cautions: tuple[str, ...] = ()
    basis: str = "recipe"


@dataclass(frozen=True, kw_only=True, slots=True)
class Schedule:
    """The operations of the parts that share a finish."""

    titles: tuple[str, ...]
    part: Part
    operations: tuple[Operation, ...]

    @property
    def last(self) -> datetime.date:
        """The day on which nothing is left to wait for."""
        return max(o.last for o in self.operations)


@dataclass(frozen=True, kw_only=True, slots=True)
class Material:
    """How much of something the parts take, losses included.

    area_mm2  covered once; coats; spread m² a litre; loss share; ml in all.
    mix       ml of each thing mixed, {} where it is used as it comes.
    """

    titles: tuple[str, ...]
    name: str
    area_mm2: float
    coats: int
    spread: float
    loss: float
    ml: float
    mix: Mapping[str, float]
    thin: str
    basis: str


def start_date(shop: Shop, given: str | None, today: str) -> datetime.date:
    """The first day of work: as given, else the shop's, else today. MockupError for a day that is past or none."""
    text = given or shop.start or today
    where = "start" if given else shop.file
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise MockupError(f'The start, "{text[:40]}", is not a date.', fix="Write it as year-month-day, 2026-12-01.", where=where) from None
    if day < datetime.date.fromisoformat(today):
        raise MockupError(f"The start, {text}, is past: today is {today}.", fix="Give the day on which you begin.", where=where)
    return day


class _Days:
    """A calendar with days of rest."""

    def __init__(self, start: datetime.date, rest: frozenset[int]) -> None:
        self.rest = rest
        self.day = self.working(start)

    def working(self, day: datetime.date) -> datetime.date:
        while day.weekday() in self.rest:
            day += datetime.timedelta(days=1)
        return day

    def on(self, days: int) -> None:
        """The first working day that is ``days`` or more later."""
        self.day = self.working(self.day + datetime.timedelta(days=days))


def schedules(scene: Scene, shop: Shop, start: datetime.date) -> tuple[Schedule, ...]:
    """One schedule for each finish of a scene as its ``variant`` stands, whatever wood it is on, all from the same first day."""
    found = []
    for finish, parts in _by_finish(scene).items():
        operations = _operations(finish, shop, _Days(start, shop.rest))
        if any(p.binding is not None for p in parts):
            _keep_binding(operations)
        found.append(Schedule(titles=tuple(p.title for p in parts), part=parts[0], operations=tuple(operations)))
    return tuple(found)


def _by_finish(scene: Scene) -> dict[Finish, list[Part]]:
    """Parts by what is done to them, the one that most is seen of first."""
    parts, found = {p.name: p for p in scene.parts}, {}
    for group in groups(scene):
        found.setdefault(group.part.finish, []).extend(parts[name] for name in group.names)
    return found


def _keep_binding(operations: list[Operation]) -> None:
    """Say at the first colour what becomes of the binding."""
    for k, o in enumerate(operations):
        if o.basis != "recipe" and o.coats and not o.title.startswith("Coat"):
            operations[k] = replace(o, detail=f"{o.detail} Mask the binding, or scrape it clean when the colour is dry.")
            return


def _operations(finish: Finish, shop: Shop, days: _Days) -> list[Operation]:
    if not finish.steps:
        return [Operation(first=days.day, last=days.day, title="Leave bare", detail="The recipe has no finish.", kind="work")]
    usual = steps_practice()
    done = [_prepare(finish, shop, days)]
    last_film: FilmPractice | None = None
    film_name, sprayed = "", False
    total = 0
    for step in finish.steps:
        words = capital(step_words(step))
        match step:
            case Coat(film=film, coats=coats):
                if not coats:
                    continue
                practice = film_practice(film.name, shop.films)
                # Coats go on counting where the same film goes on.
                before = total if film.name == film_name else 0
                done += _coats(film.words, coats, before, practice, days)
                last_film, film_name, total = practice, film.name, before + coats
            case StainStep() | Burst(rubbed=True):
                done.append(_step(words, "Try the whole recipe on an offcut first. Wipe on, let it soak, wipe off; let it dry overnight.",
                                  "stain", days, usual))
            case SandBack():
                done.append(_step(words, f"With {grit_words(usual['sand_back'].grits[0])}, along the grain, until the raised parts are pale again.",
                                  "sand_back", days, usual))
            case GrainFill():
                done.append(_step(words, f"Rub across the grain, scrape off, let it dry, and sand flush with {grit_words(usual['fill'].grits[0])}.",
                                  "fill", days, usual))
            case Tint() | Burst():
                seal = "" if film_name or sprayed else "Seal with one thin coat first. "
                sprayed = True
                done.append(_step(words, f"{seal}Spray in thin passes, and hold it against the approval after each.", "tint", days, usual))
            case RubbedEdge():
                done.append(_step(words, f"With {grit_words(usual['rubbed_edge'].grits[0])} on a soft block, little by little.",
                                  "rubbed_edge", days, usual))
            case Paint():
                done.append(_step(words, f"Two thin coats, sanded with {grit_words(usual['paint'].grits[0])} between.", "paint", days, usual))
    if last_film is not None:
        done += _end(finish, last_film, days)
    return done


def _prepare(finish: Finish, shop: Shop, days: _Days) -> Operation:
    usual = steps_practice()["prepare"]
    first = next((s for s in finish.steps if not isinstance(s, SandBack)), None)
    grits = tuple(g for g in usual.grits if g <= 320)
    detail = f"Through {listed([grit_words(g) for g in grits])}, along the grain."
    if isinstance(first, StainStep):
        detail += " Raise the grain with a damp cloth, let it dry, and take off what stands up."
    done = Operation(first=days.day, last=days.day, title="Sand the bare wood", detail=detail, kind="work", grits=grits,
                     cautions=usual.cautions, basis=usual.basis)
    days.on(usual.dry_days)
    return done


def _step(title: str, detail: str, key: str, days: _Days, usual) -> Operation:
    practice = usual[key]
    done = Operation(first=days.day, last=days.day, title=title, detail=detail, kind="work", grits=practice.grits, coats=1 if practice.spread else 0,
                     cautions=practice.cautions, basis=practice.basis)
    if practice.dry_days:
        days.on(practice.dry_days)
    return done


def _coats(words: str, coats: int, before: int, practice: FilmPractice, days: _Days) -> list[Operation]:
    """Coats by the day: several on one, or one every few days; sanded between as the practice says."""
    per_day, apart = max(1, int(practice.coats_per_day)), max(1, math.ceil(1 / practice.coats_per_day - 1e-9))
    done, number = [], before
    while number < before + coats:
        now = min(per_day, before + coats - number)
        first, last = number + 1, number + now
        title = f"Coat {first} of {words}" if now == 1 else f"Coats {first} {'and' if now == 2 else 'to'} {last} of {words}"
        said = [capital(practice.method)]
        if now > 1:
            said.append(f"{practice.recoat_hours[0]:g} to {practice.recoat_hours[1]:g} hours between coats")
        if number == before and practice.thin:
            said.append(practice.thin)
        sanded = [n for n in range(first, last + 1) if practice.sand_every and n > 1 and (n - 1) % practice.sand_every == 0]
        grits = (practice.sand_grit,) if sanded else ()
        if sanded:
            said.append(f"before coat {listed([str(n) for n in sanded])} sand lightly with {grit_words(practice.sand_grit)}")
        done.append(Operation(first=days.day, last=days.day, title=title, detail="; ".join(said) + ".", kind="work", grits=grits, coats=now,
                              cautions=practice.cautions, basis=practice.basis))
        number = last
        days.on(apart)
    return done


def _end(finish: Finish, practice: FilmPractice, days: _Days) -> list[Operation]:
    """Curing, levelling and polishing after the last coat, by the sheen that is wanted."""
    done: list[Operation] = []
    finished = days.day - datetime.timedelta(days=1)
    levelled = practice.level_grits and finish.sheen >= LEVELLED
    hard = finished + datetime.timedelta(days=practice.full_cure_days)
    if levelled:
        ready = days.working(finished + datetime.timedelta(days=practice.cure_days))
        if ready > days.day:
            done.append(Operation(first=days.day, last=ready - datetime.timedelta(days=1), title="Let the film cure",
                                  detail=f"{practice.cure_days} days from the last coat before it is levelled; warm, dry, free of dust.",
                                  kind="wait", basis=practice.basis))
        days.day = ready
        steps = listed([grit_words(g) for g in practice.level_grits])
        done.append(Operation(first=ready, last=ready, title="Level the film", detail=f"Flat block, {steps}; stop before an edge shows colour.",
                              kind="work", grits=practice.level_grits, cautions=("dust",), basis=practice.basis))
        if finish.sheen >= GLOSS:
            done.append(Operation(first=ready, last=ready, title="Polish", detail=f"Compound from medium to fine, to {finish.sheen:g} GU at 60°.",
                                  kind="work", basis=practice.basis))
        else:
            done.append(Operation(first=ready, last=ready, title="Rub to the sheen", detail=f"Even it with a fine pad to {finish.sheen:g} GU at 60°.",
                                  kind="work", basis=practice.basis))
        days.on(1)
    if hard >= days.day:
        done.append(Operation(first=days.day, last=hard, title="Leave it to harden",
                              detail=f"Full cure {practice.full_cure_days} days from the last coat: no stand, no strap, no case before.",
                              kind="wait", basis=practice.basis))
    return done


def finish_area(part: Part, shop: Shop) -> float:
    """mm² of a part that are finished: its face, its back where that is seen, and its edges where the shop says how thick it is."""
    import numpy as np

    area = part.shape.area * (2 if part.side == "both" else 1)
    round_about = sum(float(np.hypot(*(np.roll(r, -1, axis=0) - r).T).sum()) for r in part.shape.rings)
    return area + round_about * shop.parts.get(part.name, 0.0)


def materials(scene: Scene, shop: Shop) -> tuple[Material, ...]:
    """How much of each stain and film the parts take, at the stated spread and losses, in the order of use."""
    usual, found = steps_practice(), []
    for finish, parts in _by_finish(scene).items():
        titles = tuple(p.title for p in parts)
        area = sum(finish_area(p, shop) for p in parts)
        by_name: dict[str, Material] = {}
        for step in finish.steps:
            made = _material(step, titles, area, shop, usual)
            if made is None:
                continue
            before = by_name.get(made.name)
            by_name[made.name] = made if before is None else _added(before, made)
        found += by_name.values()
    return tuple(found)


def _added(a: Material, b: Material) -> Material:
    return replace(a, coats=a.coats + b.coats, ml=a.ml + b.ml, mix={k: v + b.mix.get(k, 0.0) for k, v in a.mix.items()})


def _material(step: object, titles: tuple[str, ...], area: float, shop: Shop, usual) -> Material | None:
    mix: Mapping[str, float] = {}
    thin = ""
    match step:
        case Coat(film=film, coats=coats) if coats:
            practice = film_practice(film.name, shop.films)
            name, spread, loss, basis, mix, thin = film.words, practice.spread, practice.loss, practice.basis, practice.mix, practice.thin
        case StainStep(stain=stain) | Burst(stain=stain) | Tint(stain=stain):
            key = "stain" if isinstance(step, StainStep) or getattr(step, "rubbed", False) else "tint"
            name, coats, spread, loss, basis = f"{stain.words}, ready to use", 1, usual[key].spread, usual[key].loss, usual[key].basis
        case GrainFill():
            name, coats, spread, loss, basis = step_words(step), 1, usual["fill"].spread, usual["fill"].loss, usual["fill"].basis
        case Paint(words=words):
            name, coats, spread, loss, basis = words, 2, usual["paint"].spread, usual["paint"].loss, usual["paint"].basis
        case _:
            return None
    ml = amount_ml(area, coats, spread, loss)
    whole = sum(mix.values())
    return Material(titles=titles, name=name, area_mm2=area, coats=int(coats), spread=spread, loss=loss, ml=ml,
                    mix={k: ml * v / whole for k, v in mix.items()}, thin=thin, basis=basis)


def bought(found: Sequence[Material]) -> list[tuple[str, float]]:
    """What to buy in all, ml by name: parts of a mix by themselves, one line for what several finishes take."""
    total: dict[str, float] = {}
    for m in found:
        for name, ml in (m.mix or {m.name: m.ml}).items():
            total[name] = total.get(name, 0.0) + ml
    return list(total.items())


def amount_ml(area_mm2: float, coats: int, spread: float, loss: float) -> float:
    """Millilitres to buy: area (m²) x coats / spread (m² a litre) / (1 - loss)."""
    return area_mm2 / 1e6 * coats / spread / (1 - loss) * 1000


def plain_operations(found: Sequence[Schedule]) -> list[dict]:
    """JSON-ready rows, one an operation."""
    from .practice import cami_words

    return [{"parts": ", ".join(s.titles), "number": n, "first": o.first.isoformat(), "last": o.last.isoformat(), "kind": o.kind,
             "title": o.title, "detail": o.detail, "coats": o.coats, "fepa": " ".join(f"P{g}" for g in o.grits),
             "cami": "; ".join(cami_words(g) for g in o.grits), "basis": o.basis}
            for s in found for n, o in enumerate(s.operations, 1)]


def plain_materials(found: Sequence[Material]) -> list[dict]:
    """JSON-ready rows, one a material; what is mixed has rows of its own below it."""
    from .lengths import FLUID_OUNCE, SQ_FT_A_GALLON

    rows = []
    for m in found:
        base = {"parts": ", ".join(m.titles), "area_m2": round(m.area_mm2 / 1e6, 4), "area_sqft": round(m.area_mm2 / 92903.04, 3),
                "coats": m.coats, "spread_m2_per_litre": m.spread, "spread_sqft_per_gallon": round(m.spread * SQ_FT_A_GALLON, 1), "loss": m.loss,
                "basis": m.basis}
        rows.append({"material": m.name, **base, "ml": round(m.ml, 1), "fl_oz": round(m.ml / FLUID_OUNCE, 2), "of": ""})
        rows += [{"material": name, **base, "ml": round(ml, 1), "fl_oz": round(ml / FLUID_OUNCE, 2), "of": m.name} for name, ml in m.mix.items()]
    return rows
