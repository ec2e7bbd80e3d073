// What the page knows: the cell, how far each answer is, where the reader is.
import { computed, effect, signal } from "@preact/signals";
import { type AnswerLine, type AnswerView, type CellView, get, type Happened, Refused } from "./api";

export type Route =
  | { kind: "question"; name: string; program: string | null }
  | { kind: "entries"; path: string }
  | { kind: "readings" };

export const cell = signal<CellView | null>(null);
export const lines = signal<Record<string, AnswerLine>>({});
export const view = signal<AnswerView | null>(null);
export const route = signal<Route>(readRoute());
export const linked = signal(true);
/** Words that are read out and shown for a while. */
export const said = signal("");
/** On a narrow screen one of the two is shown. */
export const side = signal<"words" | "scene">("words");
/** Counts up whenever the files have changed. */
export const changes = signal(0);

export const key = (question: string, program?: string | null): string =>
  program ? `${question}/${program}` : question;

export interface Asked {
  key: string;
  name: string;
  program: string | null;
  asks: string;
}

/** Every question as it stands in the list: one that needs a program once for each. */
export const asked = computed<Asked[]>(() => {
  const now = cell.value;
  if (!now) return [];
  return now.questions.flatMap((one): Asked[] => {
    if (!one.needs_program) return [{ key: one.name, name: one.name, program: null, asks: one.asks }];
    const files = now.programs.map((program) => program.file);
    if (files.length === 0) return [];
    return files.map((file) => ({
      key: key(one.name, file),
      name: one.name,
      program: file,
      asks: one.asks,
    }));
  });
});

function readRoute(): Route {
  const parts = decodeURIComponent(location.hash.replace(/^#/, ""));
  const [first, ...rest] = parts.split("/");
  if (first === "entries") return { kind: "entries", path: rest.join("/") };
  if (first === "readings") return { kind: "readings" };
  return { kind: "question", name: first ?? "", program: rest.join("/") || null };
}

export function open(where: string): void {
  location.hash = where.split("/").map(encodeURIComponent).join("/");
}

export function say(words: string): void {
  said.value = "";
  requestAnimationFrame(() => (said.value = words));
}

/** Do something that may be refused, and tell it. */
export async function tried<T>(work: () => Promise<T>): Promise<T | undefined> {
  try {
    return await work();
  } catch (problem) {
    if (problem instanceof Refused) {
      if (problem.status === 0) linked.value = false;
      say([problem.refusal.what, problem.refusal.mend].filter(Boolean).join(": "));
      return undefined;
    }
    throw problem;
  }
}

export async function loadCell(): Promise<void> {
  const found = await tried(() => get<CellView>("cell"));
  if (found) cell.value = found;
}

/** Counts the answers that were told of: a list that was asked for before one of them may be older. */
let told = 0;

export async function loadLines(): Promise<void> {
  for (let round = 0; round < 4; round += 1) {
    const since = told;
    const found = await tried(() => get<AnswerLine[]>("answers"));
    if (!found) return;
    if (since !== told && round < 3) continue;
    lines.value = Object.fromEntries(found.map((one) => [key(one.question, one.program), one]));
    return;
  }
}

let reading: AbortController | null = null;

export async function loadAnswer(): Promise<void> {
  const at = route.value;
  reading?.abort();
  if (at.kind !== "question" || !at.name) return;
  const stop = new AbortController();
  reading = stop;
  const query = at.program ? `?program=${encodeURIComponent(at.program)}` : "";
  try {
    const found = await tried(() =>
      get<AnswerView>(`answers/${encodeURIComponent(at.name)}${query}`, stop.signal),
    );
    if (found && reading === stop) view.value = found;
  } catch (problem) {
    if (!(problem instanceof DOMException)) throw problem;
  }
}

export async function loadAll(): Promise<void> {
  await loadCell();
  await Promise.all([loadLines(), loadAnswer()]);
}

function happened(event: Happened, known: { run: string }): void {
  if (event.kind === "hello") {
    if (known.run && known.run !== event.run) say("The program has been started again.");
    known.run = event.run ?? "";
    void loadAll();
    return;
  }
  if (event.kind === "cell") {
    changes.value += 1;
    void loadAll();
    return;
  }
  if (event.kind === "fault") {
    say(event.what ?? "");
    return;
  }
  if (!event.question) return;
  const at = key(event.question, event.program);
  const old = lines.value[at];
  const now: AnswerLine = {
    question: event.question,
    program: event.program ?? null,
    state: event.state ?? old?.state ?? "waiting",
    share: event.share ?? old?.share ?? 0,
    verdict: event.verdict ?? old?.verdict ?? null,
    headline: event.headline ?? old?.headline ?? null,
    figures: event.figures ?? old?.figures ?? [],
    stale: event.stale ?? false,
    what: event.what ?? "",
  };
  if (event.kind === "answer") told += 1;
  lines.value = { ...lines.value, [at]: now };
  const here = route.value;
  const shown = here.kind === "question" && key(here.name, here.program) === at;
  if (!shown) return;
  if (event.kind === "progress" && view.value) {
    view.value = { ...view.value, share: now.share, state: now.state };
  } else if (event.kind === "answer") {
    void loadAnswer();
  }
}

export function start(): void {
  addEventListener("hashchange", () => (route.value = readRoute()));
  effect(() => {
    const at = route.value;
    if (at.kind === "question") {
      if (view.value && key(view.value.question, view.value.program) !== key(at.name, at.program)) {
        view.value = null;
      }
      void loadAnswer();
    }
  });
  effect(() => {
    const at = route.value;
    const first = asked.value[0];
    if (at.kind === "question" && !at.name && first) open(first.key);
  });
  const known = { run: "" };
  // Asked before the stream of events is there: the list of questions need not wait for it.
  void loadCell();
  let source: EventSource | null = null;
  const listen = (): void => {
    source?.close();
    source = new EventSource("/api/events");
    source.onopen = () => (linked.value = true);
    source.onmessage = (message) => happened(JSON.parse(message.data) as Happened, known);
    source.onerror = () => {
      linked.value = false;
      // A closed source does not try again by itself.
      if (source?.readyState === EventSource.CLOSED) setTimeout(listen, 1500);
    };
  };
  listen();
}
