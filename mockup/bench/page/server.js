// The one place that talks to the program.

export const tab = crypto.randomUUID();
const headers = { "x-bench": "1", "x-tab": tab };

/** What the program said was wrong, one sentence a problem. */
export class Refused extends Error {
  constructor(problems, status) {
    super(problems.map((p) => [p.where && `${p.where}:`, p.found, p.fix].filter(Boolean).join(" ")).join("\n"));
    this.problems = problems;
    this.status = status;
  }
}

/** The server has gone. */
export class Away extends Error {}

async function asked(address, how) {
  let answer;
  try {
    answer = await fetch(address, { ...how, headers: { ...headers, ...(how?.headers || {}) } });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    dispatchEvent(new Event("away"));
    throw new Away("The bench does not answer.");
  }
  if (answer.ok) return answer;
  let problems = [{ where: "", found: `The bench answered ${answer.status}.`, fix: "Load the page again." }];
  try {
    problems = (await answer.json()).problems || problems;
  } catch { /* an answer in plain text: the sentence above will do */ }
  throw new Refused(problems, answer.status);
}

export const get = async (address) => (await asked(address)).json();

/** Post values; null when a newer wish took this one's place. */
export async function post(name, values = {}) {
  const answer = await asked(`/api/${name}`, { method: "POST", body: JSON.stringify(values) });
  return answer.status === 204 ? null : answer.json();
}

/** A picture as a bitmap; null when a newer wish took this one's place. */
export async function picture(values) {
  const answer = await asked("/api/picture", { method: "POST", body: JSON.stringify(values) });
  if (answer.status === 204) return null;
  const data = await answer.blob();
  return { bitmap: await createImageBitmap(data), data };
}

export async function board(name) {
  const answer = await asked(`/api/board/${encodeURIComponent(name)}`);
  return { ...JSON.parse(answer.headers.get("x-board")), bitmap: await createImageBitmap(await answer.blob()) };
}

export const upload = async (file, second = false) =>
  (await asked(`/api/photo?name=${encodeURIComponent(file.name)}${second ? "&second=1" : ""}`, { method: "PUT", body: file })).json();

/** A client's answer, as text or as a file: what it says; with ``write`` its approval is written, too. */
export const answer = async (words, write) =>
  (await asked(`/api/answer${write ? "?write=1" : ""}`, { method: "PUT", body: words })).json();

export const kept = (name) => `/api/kept/${name}`;

/** Hear of every change of the scene, whoever made it. */
export function listen(told) {
  const source = new EventSource("/api/events");
  source.onmessage = (event) => told(Number(event.data));
  source.onerror = () => dispatchEvent(new Event("silent"));
  return source;
}
