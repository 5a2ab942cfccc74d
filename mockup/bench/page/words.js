// Steps of a finish in a maker's words. Tables are those of the scene file.

import { plain } from "./dom.js";

export const KINDS = ["stain", "sand_back", "fill", "burst", "rubbed_edge", "tint", "paint", "coat"];
export const NAMES = {
  stain: "Stain", sand_back: "Sand back", fill: "Fill the grain", burst: "Burst", rubbed_edge: "Rub the edge through", tint: "Tinted coat", paint: "Paint", coat: "Clear coats",
};
export const STARTS = {
  stain: { stain: "amber", strength: 0.5 }, sand_back: { sand_back: 0.4 }, fill: { fill: "clear" }, burst: { burst: "tobacco", width: 60, edge: 8, strength: 0.7 },
  rubbed_edge: { rubbed_edge: 6, amount: 0.7 }, tint: { tint: "amber", strength: 0.4 }, paint: { paint: [85, 0, 6], cover: 1 }, coat: { coat: "lacquer", coats: 4 },
};

export const kindOf = (step) => KINDS.find((kind) => kind in step);
export const share = (value) => `${Math.round(value * 100)} %`;

export function stepWords(step) {
  const kind = kindOf(step);
  switch (kind) {
    case "stain": return `${step.stain}, ${share(step.strength ?? 1)}`;
    case "tint": return `${step.tint} in the film, ${share(step.strength ?? 1)}`;
    case "sand_back": return `sand back, ${share(step.sand_back)}`;
    case "fill": return step.fill === "clear" ? "clear filler" : "coloured filler";
    case "burst": return `${step.burst} burst, ${plain(step.width ?? 75, 0)} mm`;
    case "rubbed_edge": return `edge rubbed through, ${plain(step.rubbed_edge, 0)} mm`;
    case "paint": return `${step.words ?? "paint"}, ${share(step.cover ?? 1)} cover`;
    case "coat": return `${step.coats ?? 1} × ${step.coat}`;
    default: return "a step";
  }
}

export const stainWords = (steps) => steps.filter((s) => kindOf(s) !== "coat").map(stepWords).join("; ") || "bare wood";
export const coatWords = (steps) => steps.filter((s) => kindOf(s) === "coat").map(stepWords).join("; ") || "no clear coat";
export const cutWords = { single: "one piece", bookmatch: "bookmatched", slipmatch: "slip-matched" };

/** A colour as it is measured; a letter is never on one line and its number on the next. */
export const labWords = (lab) => ["L*", "a*", "b*"].map((axis, n) => `${axis}\u00a0${lab[n].toFixed(1)}`).join(" ");
