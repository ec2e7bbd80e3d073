// Every part of the cell file as a form; the file's own text is what is shown and kept.
import { useEffect, useRef } from "preact/hooks";
import type { Section } from "../api";
import { cell, changes, open, say, view } from "../state";
import { Field, Told } from "./Field";
import { Outcome } from "./Outcome";
import { form, letGo, lost, placed, recall, refused, typed } from "./typed";
import { load, step, write } from "./writing";

function title(section: Section): string {
  const said = (key: string) => section.entries?.find((one) => one.key === key)?.text;
  const name = said("name") ?? said("number");
  const place = /\[(\d+)\]$/.exec(section.path)?.[1];
  return [section.title.replaceAll("_", " "), place, typeof name === "string" ? `(${name})` : ""].filter(Boolean).join(" ");
}

/** Up and down among its kind, and out. */
function Places({ section, many }: { section: Section; many: Section }) {
  const count = many.sections?.length ?? 0;
  const place = Number(/\[(\d+)\]$/.exec(section.path)?.[1]);
  const part = (at: number): HTMLDetailsElement | null =>
    document.getElementById(`part-${many.path}[${at}]`) as HTMLDetailsElement | null;
  const move = async (to: number): Promise<void> => {
    const open = [part(place)?.open ?? false, part(to)?.open ?? false];
    if (!(await write([{ path: section.path, text: String(to) }]))) return;
    placed(many.path, (one) => (one === place ? to : one === to ? place : one));
    requestAnimationFrame(() => {
      const [here, there] = [part(place), part(to)];
      if (here) here.open = open[1]!;
      if (!there) return;
      there.open = open[0]!;
      const buttons = [...there.querySelectorAll<HTMLButtonElement>(":scope > .places-of button:not(:disabled)")];
      (buttons.find((one) => one.dataset.to === String(to * 2 - place)) ?? buttons[0])?.focus();
    });
    say(`It stands at place ${to} of ${count} now.`);
  };
  const takeOut = async (): Promise<void> => {
    if (!(await write([{ path: section.path, text: null }]))) return;
    placed(many.path, (one) => (one === place ? null : one > place ? one - 1 : one));
  };
  const named = title(section);
  return (
    <div class="steps places-of">
      {count > 1 && (
        <>
          <button
            type="button"
            class="quiet"
            data-to={place - 1}
            disabled={place === 1}
            onClick={() => void move(place - 1)}
          >
            Move {named} up
          </button>
          <button
            type="button"
            class="quiet"
            data-to={place + 1}
            disabled={place === count}
            onClick={() => void move(place + 1)}
          >
            Move {named} down
          </button>
        </>
      )}
      <button type="button" class="quiet" onClick={() => void takeOut()}>
        Take {named} out
      </button>
    </div>
  );
}

function Part({ section, many, path }: { section: Section; many?: Section; path: string }) {
  const readOnly = cell.value?.read_only ?? false;
  const here = path === section.path || path.startsWith(`${section.path}.`) || path.startsWith(`${section.path}[`);
  const torn = (section.entries ?? []).some((one) => typed.value[one.path]?.torn);
  const wrong = (section.entries ?? []).some((one) => (one.faults?.length ?? 0) > 0);
  if (section.many) {
    const add = async (): Promise<void> => {
      const next = `${section.path}[${(section.sections?.length ?? 0) + 1}]`;
      if (await write([{ path: section.path, text: [] }])) open(`entries/${next}`);
    };
    return (
      <details class="part" id={`part-${section.path}`} open={here}>
        <summary>
          {section.title.replaceAll("_", " ")} <span class="note">{section.sections?.length ?? 0}; {section.doc}</span>
        </summary>
        {(section.sections ?? []).map((one) => (
          <Part key={one.path} section={one} many={section} path={path} />
        ))}
        {!readOnly && (
          <button
            type="button"
            class="add"
            aria-label={`Add one: ${section.doc}`}
            onClick={() => void add()}
          >
            Add one
          </button>
        )}
        <Told faults={[]} words={refused.value[section.path]} />
      </details>
    );
  }
  const filled = (section.entries ?? []).filter((one) => one.text != null).length;
  return (
    <details class="part" id={`part-${section.path}`} open={here || wrong || torn}>
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
        <Part key={one.path} section={one} path={path} />
      ))}
      {!readOnly && many && <Places section={section} many={many} />}
      <Told faults={[]} words={refused.value[section.path]} />
    </details>
  );
}

export function Entries({ path }: { path: string }) {
  useEffect(recall, [cell.value?.file]);
  useEffect(() => void load(), [changes.value]);
  const now = form.value;
  const led = useRef("");
  useEffect(() => {
    if (!path || led.current === path || !now || !cell.value) return;
    // A whole section is asked for where none is there yet: then the way to add one has the focus.
    const entry = document.getElementById(`at-${path}`);
    const part = document.getElementById(`part-${path}`);
    const to =
      entry?.querySelector<HTMLElement>("input, select") ??
      part?.querySelector<HTMLElement>(":scope > .add") ??
      part?.querySelector<HTMLElement>(":scope > .fields input, :scope > .fields select") ??
      part?.querySelector<HTMLElement>(":scope > summary");
    if (!to) return; // a section that was just added comes with the next form
    led.current = path;
    (entry ?? to).scrollIntoView({ block: "center" });
    to.focus();
  }, [path, now, cell.value]);
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
      {lost.value.length > 0 && (
        <div class="told" role="alert">
          <p>Typed for sections that are no longer in the file, and kept here until you let it go:</p>
          <ul>
            {lost.value.map((one) => (
              <li key={one}>
                {one}: <b>{[typed.value[one]?.mine].flat().join(", ")}</b>{" "}
                <button type="button" class="link" onClick={() => letGo(one)}>
                  Let {one} go
                </button>
              </li>
            ))}
          </ul>
        </div>
      )}
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
        <Part key={section.path} section={section} path={path} />
      ))}
      <Outcome />
    </article>
  );
}
