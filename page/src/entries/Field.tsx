// One entry: what the file says, what is typed, what is wrong with it.
import { signal } from "@preact/signals";
import type { Entry, Fault } from "../api";
import { cell, view } from "../state";
import { conflicting, keep, letGo, refused, seenNow, type Text, typed } from "./typed";
import { write } from "./writing";

export function Told({ faults, words }: { faults: Fault[]; words?: string }) {
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

/** What would be written for what was typed; none takes the entry out. */
function toWrite(entry: Entry, value: Text, unit: string | null | undefined): Text | null {
  const none = Array.isArray(value) ? value.every((one) => one.trim() === "") : value.trim() === "";
  if (none) return null;
  if (Array.isArray(value)) {
    return value.map((one) => withUnit(one, unit)).filter((one) => one !== "" || entry.shape !== "list");
  }
  return entry.kind === "text" ? value : withUnit(value, unit);
}

const inWords = (text: Text | null): string =>
  text === null ? "nothing" : Array.isArray(text) ? text.join(", ") : text;

/** The file was changed meanwhile: what it says now and what was typed, for the person to choose. */
function Both({ entry, mine, keepMine }: { entry: Entry; mine: Text | null; keepMine: () => void }) {
  return (
    <div class="told both" role="alert">
      <p>The file was changed by other means while this was typed. Nothing was written here.</p>
      <dl>
        <dt>In the file now</dt>
        <dd class="theirs">{inWords(entry.text ?? null)}</dd>
        <dt>What you typed</dt>
        <dd class="mine">{inWords(mine)}</dd>
      </dl>
      <div class="steps">
        <button type="button" aria-label={`Keep mine: ${entry.doc}`} onClick={keepMine}>
          Keep mine
        </button>
        <button type="button" aria-label={`Take the file's: ${entry.doc}`} onClick={() => letGo(entry.path)}>
          Take the file's
        </button>
      </div>
    </div>
  );
}

export function Field({ entry }: { entry: Entry }) {
  const readOnly = cell.value?.read_only ?? false;
  const held = typed.value[entry.path];
  const now = held?.mine ?? entry.text ?? (entry.shape === "one" ? "" : []);
  const unit = signalUnit(entry);
  const id = `entry-${entry.path}`;
  const missing = view.value?.answer?.missing.some((one) => one.where.endsWith(`: ${entry.path}`)) ?? false;
  const conflict = held !== undefined && conflicting(entry, toWrite(entry, held.mine, unit.value));
  const put = (value: Text): void => void write([{ path: entry.path, text: toWrite(entry, value, unit.value) }]);
  const commit = (value: Text): void => {
    const text = toWrite(entry, value, unit.value);
    if (JSON.stringify(text) === JSON.stringify(entry.text ?? null)) letGo(entry.path);
    else if (!conflicting(entry, text)) put(value);
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
    <div class="field" data-path={entry.path} data-waiting={held !== undefined} data-conflict={conflict} data-missing={missing} id={`at-${entry.path}`}>
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
                keep(entry, event.currentTarget.value);
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
              onInput={(event) => keep(entry, set(place, event.currentTarget.value))}
              onChange={(event) => commit(set(place, event.currentTarget.value))}
              onKeyDown={(event) => {
                if (event.key === "Escape") letGo(entry.path);
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
      {held && !conflict && (
        <p class="note">
          Not written yet.{" "}
          <button type="button" class="link" onClick={() => commit(now)}>
            Write it
          </button>{" "}
          <button type="button" class="link" onClick={() => letGo(entry.path)}>
            Leave it as it was
          </button>
        </p>
      )}
      {held && conflict && (
        <Both
          entry={entry}
          mine={toWrite(entry, held.mine, unit.value)}
          keepMine={() => {
            seenNow(entry);
            put(held.mine);
          }}
        />
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
