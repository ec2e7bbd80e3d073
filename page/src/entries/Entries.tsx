// Every part of the cell file as a form; the file's own text is what is shown and kept.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { type Edited, type Entry, type Fault, type Form, get, Refused, type Section, send } from "../api";
import { cell, changes, open, say, tried, view } from "../state";

const form = signal<Form | null>(null);
/** What was typed and not yet written, by path; kept in this browser until it is. */
const typed = signal<Record<string, string | string[]>>({});
const refused = signal<Record<string, string>>({});
const sending = signal(0);

const store = (): string => `gudgeon typed ${cell.value?.file ?? ""}`;

function keep(path: string, value: string | string[] | undefined): void {
  const now = { ...typed.value };
  if (value === undefined) delete now[path];
  else now[path] = value;
  typed.value = now;
  if (Object.keys(now).length > 0) localStorage.setItem(store(), JSON.stringify(now));
  else localStorage.removeItem(store());
}

let newest = 0;

async function load(): Promise<void> {
  const place = (newest += 1);
  const found = await tried(() => get<Form>("entries"));
  if (found && place === newest) form.value = found;
}

let before: Promise<unknown> = Promise.resolve();

/** Write changes one after the other, so that each knows the file as the one before left it. */
function inTurn<T>(work: () => Promise<T>): Promise<T> {
  const done = before.then(work);
  before = done.catch(() => undefined);
  return done;
}

type Change = { path: string; text: string | string[] | null };

const write = (asked: Change[]): Promise<boolean> => inTurn(() => writeNow(asked));

/** Write changes; what is refused stays typed and says why. */
async function writeNow(changesAsked: Change[]): Promise<boolean> {
  const now = form.value;
  if (!now) return false;
  sending.value += 1;
  try {
    const edited = await send<Edited>("POST", "edit", { digest: now.digest, changes: changesAsked });
    form.value = { ...(form.value ?? now), digest: edited.digest };
    for (const { path } of changesAsked) {
      keep(path, undefined);
      const left = { ...refused.value };
      delete left[path];
      refused.value = left;
    }
    await load();
    return true;
  } catch (problem) {
    if (!(problem instanceof Refused)) throw problem;
    const words = [problem.refusal.what, problem.refusal.mend].filter(Boolean).join(": ");
    if (problem.status === 409) {
      say("The file was changed by other means meanwhile. It is shown as it is now; what you typed is kept.");
      await load();
    } else if (problem.status === 0) {
      say("The program does not answer. What you typed is kept in this browser.");
    } else {
      for (const { path } of changesAsked) refused.value = { ...refused.value, [path]: words };
    }
    return false;
  } finally {
    sending.value -= 1;
  }
}

const step = (which: "undo" | "redo"): Promise<void> =>
  inTurn(async () => {
    const edited = await tried(() => send<Edited>("POST", which, { digest: form.value?.digest }));
    if (edited && form.value) form.value = { ...form.value, digest: edited.digest };
    await load();
  });

function Told({ faults, words }: { faults: Fault[]; words?: string }) {
  if (faults.length === 0 && !words) return null;
  return (
    <div class="told" role="alert">
      {words && <p>{words}</p>}
      {faults.map((fault, place) => (
        <p key={place}>
          <b>{fault.severity === "error" ? "Fault" : "Doubtful"}:</b> {fault.what}. {fault.mend}
        </p>
      ))}
    </div>
  );
}

const PLACES: Record<string, string[]> = {
  range: ["lowest", "highest"],
  point: ["x", "y", "z"],
  pair: ["tilt", "turn"],
};

/** A number alone gets the unit that is chosen. */
function withUnit(text: string, unit: string | null | undefined): string {
  const plain = text.trim().replace(/^([+-]?\d+),(\d+)$/, "$1.$2");
  return unit && /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? `${plain} ${unit}` : plain;
}

function Field({ entry }: { entry: Entry }) {
  const readOnly = cell.value?.read_only ?? false;
  const now = typed.value[entry.path] ?? entry.text ?? (entry.shape === "one" ? "" : []);
  const unit = signalUnit(entry);
  const id = `entry-${entry.path}`;
  const waiting = typed.value[entry.path] !== undefined;
  const missing = view.value?.answer?.missing.some((one) => one.where.endsWith(`: ${entry.path}`)) ?? false;
  const commit = (value: string | string[]): void => {
    const none = Array.isArray(value) ? value.every((one) => one.trim() === "") : value.trim() === "";
    const same = JSON.stringify(none ? null : value) === JSON.stringify(entry.text ?? null);
    if (same) {
      keep(entry.path, undefined);
      return;
    }
    if (none && entry.text == null) {
      keep(entry.path, undefined);
      return;
    }
    const text = none
      ? null
      : Array.isArray(value)
        ? value.map((one) => withUnit(one, unit.value)).filter((one, place) => one !== "" || entry.shape !== "list" || place < 0)
        : entry.kind === "text"
          ? value
          : withUnit(value, unit.value);
    void write([{ path: entry.path, text }]);
  };
  const one = (place: number): string => (Array.isArray(now) ? (now[place] ?? "") : now);
  const count = entry.shape === "one" ? 1 : entry.shape === "list" ? (Array.isArray(now) ? now.length : 0) + 1 : PLACES[entry.shape]!.length;
  const set = (place: number, text: string): string | string[] => {
    if (entry.shape === "one") return text;
    const all = Array.from({ length: count }, (_, k) => (k === place ? text : one(k)));
    return entry.shape === "list" ? all.filter((word, k) => word !== "" || k < count - 1) : all;
  };
  const choices = entry.kind === "true or false" ? ["true", "false"] : entry.choices;
  return (
    <div class="field" data-path={entry.path} data-waiting={waiting} data-missing={missing} id={`at-${entry.path}`}>
      <label for={id}>
        {entry.doc}
        <span class="note">
          {entry.key}
          {entry.limits ? `; ${entry.limits}` : ""}
        </span>
      </label>
      <div class="inputs">
        {Array.from({ length: count }, (_, place) =>
          choices && choices.length > 0 && entry.shape === "one" ? (
            <select
              key={place}
              id={id}
              disabled={readOnly}
              value={one(0)}
              onChange={(event) => {
                keep(entry.path, event.currentTarget.value);
                commit(event.currentTarget.value);
              }}
            >
              <option value="">not entered</option>
              {choices.map((word) => (
                <option key={word} value={word}>
                  {word === "true" ? "yes" : word === "false" ? "no" : word}
                </option>
              ))}
            </select>
          ) : (
            <input
              key={place}
              id={place === 0 ? id : undefined}
              type="text"
              autocomplete="off"
              readOnly={readOnly}
              aria-label={entry.shape === "one" ? undefined : `${entry.doc}, ${PLACES[entry.shape]?.[place] ?? place + 1}`}
              placeholder={PLACES[entry.shape]?.[place] ?? (entry.shape === "list" ? "another" : "")}
              value={one(place)}
              aria-invalid={entry.faults && entry.faults.length > 0 ? true : undefined}
              onInput={(event) => keep(entry.path, set(place, event.currentTarget.value))}
              onChange={(event) => commit(set(place, event.currentTarget.value))}
              onKeyDown={(event) => {
                if (event.key === "Escape") keep(entry.path, undefined);
              }}
            />
          ),
        )}
        {entry.units && entry.units.length > 1 && (
          <select
            aria-label={`Unit of ${entry.doc}`}
            disabled={readOnly}
            value={unit.value ?? ""}
            onChange={(event) => (unit.value = event.currentTarget.value)}
          >
            {[...new Set([unit.value, ...entry.units])].map((word) =>
              word ? (
                <option key={word} value={word}>
                  {word}
                </option>
              ) : null,
            )}
          </select>
        )}
      </div>
      {waiting && (
        <p class="note">
          Not written yet.{" "}
          <button type="button" class="link" onClick={() => commit(now)}>
            Write it
          </button>{" "}
          <button type="button" class="link" onClick={() => keep(entry.path, undefined)}>
            Leave it as it was
          </button>
        </p>
      )}
      <Told faults={entry.faults ?? []} words={refused.value[entry.path]} />
    </div>
  );
}

const units = new Map<string, ReturnType<typeof signal<string | null>>>();

/** The unit chosen for what is newly typed; what stands in the file keeps its own. */
function signalUnit(entry: Entry) {
  const inch = cell.value?.units === "in";
  const first = entry.units?.[0] ?? null;
  const usual = inch ? (entry.units?.find((word) => /^(in|lb|lbf|hp|in\/)/.test(word)) ?? first) : first;
  const known = units.get(entry.path);
  if (known) return known;
  const made = signal<string | null>(entry.unit ?? usual);
  units.set(entry.path, made);
  return made;
}

function title(section: Section): string {
  const name = section.entries?.find((one) => one.key === "name" || one.key === "number")?.text;
  const place = /\[(\d+)\]$/.exec(section.path)?.[1];
  return [section.title.replaceAll("_", " "), place, typeof name === "string" ? `(${name})` : ""].filter(Boolean).join(" ");
}

function Part({ section, deep, path }: { section: Section; deep: number; path: string }) {
  const readOnly = cell.value?.read_only ?? false;
  const here = path === section.path || path.startsWith(`${section.path}.`) || path.startsWith(`${section.path}[`);
  const wrong = (section.entries ?? []).some((one) => (one.faults?.length ?? 0) > 0);
  if (section.many) {
    return (
      <details class="part" open={here}>
        <summary>
          {section.title.replaceAll("_", " ")} <span class="note">{section.sections?.length ?? 0}; {section.doc}</span>
        </summary>
        {(section.sections ?? []).map((one) => (
          <Part key={one.path} section={one} deep={deep + 1} path={path} />
        ))}
        {!readOnly && (
          <button type="button" onClick={() => void write([{ path: section.path, text: [] }])}>
            Add one
          </button>
        )}
        <Told faults={[]} words={refused.value[section.path]} />
      </details>
    );
  }
  const filled = (section.entries ?? []).filter((one) => one.text != null).length;
  return (
    <details class="part" open={here || wrong}>
      <summary>
        {title(section)}{" "}
        <span class="note">
          {filled} of {section.entries?.length ?? 0} entered; {section.doc}
        </span>
      </summary>
      <div class="fields">
        {(section.entries ?? []).map((entry) => (
          <Field key={entry.path} entry={entry} />
        ))}
      </div>
      {(section.sections ?? []).map((one) => (
        <Part key={one.path} section={one} deep={deep + 1} path={path} />
      ))}
      {!readOnly && /\]$/.test(section.path) && (
        <button
          type="button"
          class="quiet"
          onClick={() => void write([{ path: section.path, text: null }])}
        >
          Take {title(section)} out
        </button>
      )}
      <Told faults={[]} words={refused.value[section.path]} />
    </details>
  );
}

export function Entries({ path }: { path: string }) {
  useEffect(() => {
    const kept = localStorage.getItem(store());
    if (kept) {
      try {
        typed.value = JSON.parse(kept) as Record<string, string | string[]>;
      } catch {
        localStorage.removeItem(store());
      }
    }
  }, [cell.value?.file]);
  useEffect(() => void load(), [changes.value]);
  const now = form.value;
  useEffect(() => {
    if (!path || !now || !cell.value) return;
    const at = document.getElementById(`at-${path}`);
    at?.scrollIntoView({ block: "center" });
    at?.querySelector<HTMLElement>("input, select")?.focus();
  }, [path, now !== null && cell.value !== null]);
  if (!now || !cell.value) return <p class="note">One moment.</p>;
  const waiting = Object.keys(typed.value);
  const lacking = [...new Set((view.value?.answer?.missing ?? []).map((one) => one.where.split(": ")[1] ?? ""))].filter(
    (one) => /^[a-z_]+(\[\d+\])?\./.test(one),
  );
  return (
    <article class="entries" data-digest={now.digest}>
      <h2 tabIndex={-1}>Entries of {now.file}</h2>
      <p class="note">
        What you enter is written into the file at once; its comments and order are kept. A number alone gets the
        unit beside it.
      </p>
      <div class="steps">
        <button type="button" disabled={!now.can_undo} onClick={() => void step("undo")}>
          Undo
        </button>
        <button type="button" disabled={!now.can_redo} onClick={() => void step("redo")}>
          Redo
        </button>
        {waiting.length > 0 && (
          <span class="note">
            {waiting.length === 1 ? "One entry is" : `${waiting.length} entries are`} typed and not yet written.
          </span>
        )}
      </div>
      {lacking.length > 0 && (
        <p>
          The answer beside it misses:{" "}
          {lacking.map((one) => (
            <button type="button" class="link" key={one} onClick={() => open(`entries/${one}`)}>
              {one}
            </button>
          ))}
        </p>
      )}
      {now.sections.map((section) => (
        <Part key={section.path} section={section} deep={0} path={path} />
      ))}
    </article>
  );
}
