// Readings at the machine: one after the other, the next best proposed, each written at once.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { get, type ReadingsView, Refused, send } from "../api";
import { cell, changes, say, tried } from "../state";
import { compared } from "./comparing";
import { Outcome } from "./Outcome";

const now = signal<ReadingsView | null>(null);
const row = signal<Record<string, string>>({});
const refusal = signal("");
const chosen = signal(0);

const store = (): string => `gudgeon reading ${cell.value?.file ?? ""}`;

function type(values: Record<string, string>): void {
  row.value = values;
  localStorage.setItem(store(), JSON.stringify(values));
}

async function load(): Promise<void> {
  const found = await tried(() => get<ReadingsView>("readings"));
  if (found) now.value = found;
}

let writing = false;

async function write(): Promise<void> {
  const table = now.value;
  if (!table || writing) return;
  writing = true;
  const values = Object.fromEntries(Object.entries(row.value).filter(([, text]) => text.trim() !== ""));
  refusal.value = "";
  try {
    now.value = await compared(["a reading written"], () =>
      send<ReadingsView>("POST", "readings", { digest: table.digest, row: values }),
    );
    localStorage.removeItem(store());
    row.value = {};
    chosen.value = 0;
    say(`Written: row ${now.value.rows.length}.`);
  } catch (problem) {
    if (!(problem instanceof Refused)) throw problem;
    if (problem.status === 409) await load();
    refusal.value =
      problem.status === 409
        ? "The table was changed by other means. It is shown as it is now; press again to add your row."
        : problem.status === 0
          ? "The program does not answer. What you typed is kept in this browser."
          : [problem.refusal.what, problem.refusal.mend].filter(Boolean).join(": ");
  } finally {
    writing = false;
  }
}

async function takeBack(): Promise<void> {
  const table = now.value;
  if (!table) return;
  const found = await tried(() =>
    compared(["a reading taken back"], () => send<ReadingsView>("DELETE", "readings", { digest: table.digest })),
  );
  if (found) {
    now.value = found;
    say("The last row was taken back.");
  }
}

const MEASURED = /^(x|y|z|dial|angle|t|temp|temperature)(_|$)/i;

export function Readings() {
  useEffect(() => void load(), [changes.value]);
  useEffect(() => {
    try {
      row.value = JSON.parse(localStorage.getItem(store()) ?? "{}") as Record<string, string>;
    } catch {
      localStorage.removeItem(store());
    }
  }, [cell.value?.file]);
  const table = now.value;
  if (!table || !cell.value) return <p class="note">One moment.</p>;
  const readOnly = cell.value?.read_only ?? false;
  const next = table.next[chosen.value];
  const use = (place: number): void => {
    chosen.value = place;
    const one = table.next[place];
    if (one) type({ ...(one.row ?? {}) });
  };
  return (
    <article class="readings" data-digest={table.digest} data-rows={table.rows.length}>
      <h2 tabIndex={-1}>Readings{table.file ? ` in ${table.file}` : ""}</h2>
      <div class="caution">
        <p>
          Lock the spindle. Nobody turns the axes while hands are near cradle or platter. What the machine's manual
          says goes first.
        </p>
      </div>
      {table.notes?.map((note) => (
        <p class="note" key={note}>
          {note}
        </p>
      ))}
      {table.next.length > 0 && (
        <section class="proposed">
          <h3>Read next</h3>
          <ol>
            {table.next.slice(0, 8).map((one, place) => (
              <li key={place} aria-current={place === chosen.value ? "step" : undefined}>
                <button type="button" onClick={() => use(place)}>
                  <b>{one.feature}</b>{" "}
                  {Object.entries(one.pose)
                    .map(([letter, value]) => `${letter} ${value}`)
                    .join(", ")}
                  <span class="note">
                    {one.why}
                    {one.minutes ? ` About ${Math.ceil(one.minutes)} min.` : ""}
                  </span>
                </button>
              </li>
            ))}
          </ol>
        </section>
      )}
      {!readOnly && (
        <form
          class="reading"
          onSubmit={(event) => {
            event.preventDefault();
            void write();
          }}
        >
          <h3>{next && Object.keys(row.value).length > 0 ? next.feature : "A reading"}</h3>
          <div class="cells">
            {table.columns.map((column) => (
              <label key={column} class={MEASURED.test(column) ? "measured" : ""}>
                {column.replaceAll("_", " ")}
                <input
                  type="text"
                  autocomplete="off"
                  inputMode={MEASURED.test(column) ? "decimal" : "text"}
                  value={row.value[column] ?? ""}
                  onInput={(event) => type({ ...row.value, [column]: event.currentTarget.value })}
                />
              </label>
            ))}
          </div>
          {refusal.value && (
            <p class="told" role="alert">
              {refusal.value}
            </p>
          )}
          <div class="steps">
            <button type="submit" class="main">
              Write this reading
            </button>
            <button type="button" disabled={table.rows.length === 0} onClick={() => void takeBack()}>
              Take the last row back
            </button>
          </div>
        </form>
      )}
      {table.faults && table.faults.length > 0 && (
        <div class="told">
          {table.faults.map((fault, place) => (
            <p key={place}>
              <b>{fault.what}</b> {fault.mend}
            </p>
          ))}
        </div>
      )}
      <details open>
        <summary>
          Rows so far <span class="note">{table.rows.length}</span>
        </summary>
        <div class="scroll" tabIndex={0} role="region" aria-label="Rows so far">
          <table>
            <thead>
              <tr>
                {table.columns.map((column) => (
                  <th scope="col" key={column}>
                    {column.replaceAll("_", " ")}
                  </th>
                ))}
              </tr>
            </thead>
            <tbody>
              {[...table.rows].reverse().map((cells, place) => (
                <tr key={table.rows.length - place}>
                  {cells.map((text, k) => (
                    <td key={k}>{text}</td>
                  ))}
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </details>
      <Outcome />
    </article>
  );
}
