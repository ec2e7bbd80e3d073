// What a change of the files does to the answers: those before it, and the fresh ones as they come in.
import { computed, effect, signal } from "@preact/signals";
import type { AnswerLine } from "../api";
import { asked, cell, lines, loadCell, loadLines, say } from "../state";

interface Comparison {
  words: string[];
  before: Record<string, AnswerLine>;
  /** The list of answers is of the files as they are. */
  fresh: boolean;
  /** The answers after it, once all are in. */
  after: Record<string, AnswerLine> | null;
}

export const comparison = signal<Comparison | null>(null);

const faulty = computed(() => (cell.value?.faults ?? []).some((fault) => fault.severity === "error"));

/** Whether this is the answer for the files as they are, or will not come. */
function settled(line: AnswerLine | undefined): line is AnswerLine {
  if (!line) return false;
  return line.state === "failed" ? !faulty.value : line.state === "stopped" || (line.state === "done" && !line.stale);
}

/** Change something, and compare the answers before with those that follow. */
export async function compared<T>(words: string[], change: () => Promise<T>): Promise<T> {
  const given = Object.entries(lines.value).filter(([, line]) => line.verdict);
  const done = await change();
  // Until all answers are in, one change adds to the other.
  const running = comparison.value?.after === null ? comparison.value : null;
  const begun: Comparison = {
    words: [...new Set([...(running?.words ?? []), ...words])],
    before: { ...Object.fromEntries(given), ...running?.before },
    fresh: false,
    after: null,
  };
  comparison.value = begun;
  void Promise.all([loadCell(), loadLines()]).then(() => {
    if (comparison.value === begun) comparison.value = { ...begun, fresh: true };
  });
  return done;
}

export interface Moved {
  key: string;
  asks: string;
  program: string | null;
  before: AnswerLine;
  after: AnswerLine;
  figure: { label: string; before: string; after: string; more: number } | null;
}

/** The figure that tells the change best: one with a limit, else the first that differs. */
function figureOf(before: AnswerLine, after: AnswerLine): Moved["figure"] {
  const old = new Map(before.figures.map((one) => [one.name, one]));
  const moved = after.figures.filter((one) => old.has(one.name) && old.get(one.name)!.value !== one.value);
  const chosen = moved.find((one) => one.limited) ?? moved[0];
  if (!chosen) return null;
  return { label: chosen.label, before: old.get(chosen.name)!.value, after: chosen.value, more: moved.length - 1 };
}

const differs = (one: AnswerLine, other: AnswerLine): boolean =>
  one.verdict !== other.verdict ||
  one.headline !== other.headline ||
  (one.state === "failed") !== (other.state === "failed") ||
  JSON.stringify(one.figures) !== JSON.stringify(other.figures);

/** What is known so far of what the last change did. */
export const outcome = computed(() => {
  const now = comparison.value;
  if (!now) return null;
  const found = { words: now.words, moved: [] as Moved[], asBefore: [] as string[], open: 0, faulty: faulty.value };
  for (const { key, asks, program } of asked.value) {
    const before = now.before[key];
    if (!before) continue;
    const after = now.after ? now.after[key] : lines.value[key];
    if (!now.after && !(now.fresh && settled(after))) found.open += 1;
    else if (!after) continue;
    else if (differs(before, after)) {
      found.moved.push({ key, asks, program, before, after, figure: figureOf(before, after) });
    } else found.asBefore.push(program ? `${asks} (${program})` : asks);
  }
  return found;
});

effect(() => {
  const now = comparison.value;
  const found = outcome.value;
  if (!now || now.after || !found || found.open > 0) return;
  comparison.value = { ...now, after: lines.value };
  const count = found.moved.length;
  say(
    count === 0
      ? "All answers are in: nothing changed."
      : `All answers are in: ${count === 1 ? "one has" : `${count} have`} changed.`,
  );
});
