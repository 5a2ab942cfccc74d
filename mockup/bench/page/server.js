// The one place that talks to the program.

export const tab = crypto.randomUUID();
const headers = { "x-bench": "1", "x-tab": tab };
let start = null; // which start of the program this page is of

/** What the program said was wrong, one sentence a problem. */
export class Refused extends Error {
  constructor(problems, status) {
    super(problems.map((p) => [p.where && `${p.where}:`, p.found, p.fix].filter(Boolean).join(" ")).join("\n"));
    this.problems = problems;
    this.status = status;
  }
}

/** The server has gone, or another has its place. */
export class Away extends Error {}

/** Ask, and read the answer with ``read``; undefined when a newer wish took this one's place. */
async function asked(address, how, read) {
  try {
    const answer = await fetch(address, { ...how, headers: { ...headers, ...(start && { "x-start": start }), ...(how?.headers || {}) } });
    if (answer.status === 403) throw new TypeError("another bench has its place");
    start ??= answer.headers.get("x-start");
    if (answer.ok) return answer.status === 204 ? undefined : await read(answer);
    let problems = [{ where: "", found: `The bench answered ${answer.status}.`, fix: "Load the page again." }];
    try {
      problems = (await answer.json()).problems || problems;
    } catch { /* an answer in plain text: the sentence above will do */ }
    throw new Refused(problems, answer.status);
  } catch (error) {
    // Of the browser's own errors those of the network are TypeErrors: before the answer, and in the middle of it.
    if (!(error instanceof TypeError)) throw error;
    dispatchEvent(new Event("away"));
    throw new Away("The bench does not answer.");
  }
}

const json = (answer) => answer.json();

export const get = (address) => asked(address, {}, json);

/** Post values; null when a newer wish took this one's place. */
export const post = async (name, values = {}) => (await asked(`/api/${name}`, { method: "POST", body: JSON.stringify(values) }, json)) ?? null;

/** A picture as a bitmap; null when a newer wish took this one's place. */
export async function picture(values) {
  const data = await asked("/api/picture", { method: "POST", body: JSON.stringify(values) }, (answer) => answer.blob());
  return data ? { bitmap: await createImageBitmap(data), data } : null;
}

export async function board(name) {
  const made = await asked(`/api/board/${encodeURIComponent(name)}`, {}, async (answer) => [JSON.parse(answer.headers.get("x-board")), await answer.blob()]);
  return made ? { ...made[0], bitmap: await createImageBitmap(made[1]) } : null;
}

/** A picture that the program keeps, by its name. */
export const keptPicture = async (name) => createImageBitmap(await asked(kept(name), {}, (answer) => answer.blob()));

/** A file's bytes. Read before they are sent: a folder, or a file that is gone, would look as if the program were. */
async function bytes(file) {
  try {
    return await file.arrayBuffer();
  } catch {
    throw new Refused([{ where: file.name, found: "This could not be read.", fix: "Is it a file, and still there? Choose it again." }], 0);
  }
}

/** A photo, or the second one of the board whose first photo is known as ``second``. */
export const upload = async (file, second = "") =>
  asked(`/api/photo?name=${encodeURIComponent(file.name)}${second ? `&second=${second}` : ""}`, { method: "PUT", body: await bytes(file) }, json);

/** A client's answer, as text or as a file: what it says; with ``write`` its approval is written, too. */
export const answer = async (words, write) =>
  asked(`/api/answer${write ? "?write=1" : ""}`, { method: "PUT", body: typeof words === "string" ? words : await bytes(words) }, json);

export const kept = (name) => `/api/kept/${name}`;

/** Hear of every change of the scene, whoever made it. */
export function listen(told) {
  const source = new EventSource("/api/events");
  source.onmessage = (event) => told(Number(event.data));
  source.onerror = () => dispatchEvent(new Event("silent"));
  return source;
}
