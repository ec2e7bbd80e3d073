// One answer: verdict and headline first, then what it rests on.
import type { AnswerData, AnswerView, ShownTable } from "../api";
import { send } from "../api";
import { cell, loadAnswer, open, route, tried, view } from "../state";
import { Drawing } from "./Drawing";
import { Mark, word } from "./Mark";

function query(one: AnswerView): string {
  return one.program ? `?program=${encodeURIComponent(one.program)}` : "";
}

function Progress({ one }: { one: AnswerView }) {
  if (one.state === "waiting" && (cell.value?.faults ?? []).some((fault) => fault.severity === "error")) {
    return <p class="note">It is answered as soon as the faults above are mended.</p>;
  }
  if (one.state === "waiting" || one.state === "working") {
    const share = Math.round(100 * one.share);
    return (
      <div class="progress" data-share={share}>
        <p>{one.state === "waiting" ? "Waiting for the answers before it." : `Working it out: ${share} %.`}</p>
        <progress max={100} value={one.share > 0 ? share : undefined} aria-label="How far the work is" />
        <button
          type="button"
          onClick={() => void tried(() => send("POST", `answers/${one.question}/stop${query(one)}`))}
        >
          Stop
        </button>
      </div>
    );
  }
  if (one.state === "failed" || one.state === "stopped") {
    return (
      <div class="progress">
        <p>
          {one.state === "stopped" ? "The work was stopped." : "This could not be worked out."} {one.what}
        </p>
        <button
          type="button"
          onClick={() =>
            void tried(async () => {
              await send("POST", `answers/${one.question}/again${query(one)}`);
              await loadAnswer();
            })
          }
        >
          Work it out again
        </button>
      </div>
    );
  }
  return one.stale ? <p class="note">Something has changed since: a new answer is being worked out.</p> : null;
}

/** The entry that a missing thing belongs to, such as unit.face_height; what stands in brackets explains it. */
function entryOf(where: string): string | null {
  const file = cell.value?.file ?? "";
  return where.startsWith(`${file}: `) ? where.slice(file.length + 2).replace(/ \(.*$/, "") : null;
}

function Lines({ title, items, name }: { title: string; items: string[]; name: string }) {
  if (items.length === 0) return null;
  return (
    <section class={`lines ${name}`}>
      <h3>{title}</h3>
      <ul>
        {items.map((text) => (
          <li key={text}>{text}</li>
        ))}
      </ul>
    </section>
  );
}

function Figures({ one, data }: { one: AnswerView; data: AnswerData }) {
  if (data.figures.length === 0) return null;
  return (
    <section class="figures">
      <h3>Figures</h3>
      {data.figures.map((figure, place) => {
        const shown = one.figures[place];
        return (
          <div class="figure" key={figure.name} data-figure={figure.name}>
            <div class="what">
              <span class="label">{figure.label}</span>
              {figure.note && <span class="note">{figure.note}</span>}
            </div>
            <div class="value">
              <span class="number">{shown?.value ?? ""}</span>
              {shown?.limit && (
                <span class="note" data-standing={shown.standing}>
                  {shown.limit}
                </span>
              )}
            </div>
            {shown?.gauge ? (
              <div class="gauge">
                <Drawing svg={shown.gauge} title={`${figure.label}: ${shown.value}, ${shown.limit}`} />
              </div>
            ) : null}
          </div>
        );
      })}
    </section>
  );
}

const ROWS = 40;

function TableOf({ data, text, at }: { data: AnswerData["tables"][number]; text?: ShownTable; at: number }) {
  const rows = text?.rows ?? [];
  const table = (
    <div class="scroll" tabIndex={0} role="region" aria-label={data.title}>
      <table>
        <thead>
          <tr>
            {data.columns.map((column, place) => (
              <th scope="col" class={text?.right[place] ? "right" : undefined} key={column.name}>
                {column.label}
                {column.unit ? <span class="unit"> {column.unit}</span> : null}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.slice(0, 300).map((row, line) => (
            <tr key={line}>
              {row.map((words, place) => (
                <td class={text?.right[place] ? "right" : undefined} key={place}>
                  {words}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
      {rows.length > 300 && <p class="note">{rows.length - 300} more rows are in the data, not shown here.</p>}
    </div>
  );
  return (
    <details class="table" open={at === 0 && rows.length <= ROWS}>
      <summary>
        {data.title} <span class="note">{rows.length === 1 ? "1 row" : `${rows.length} rows`}</span>
      </summary>
      {table}
    </details>
  );
}

function Body({ one, data }: { one: AnswerView; data: AnswerData }) {
  return (
    <>
      <div class="verdict" data-verdict={data.verdict}>
        <Mark verdict={data.verdict} />
        <strong>{word(data.verdict)}</strong>
      </div>
      <p class="headline">{data.headline}</p>
      <div class="next">
        <h3>Do this next</h3>
        <p>{data.next_step}</p>
      </div>
      <Lines title="Take care" items={data.cautions} name="cautions" />
      {data.missing.length > 0 && (
        <section class="lines missing">
          <h3>{data.verdict === "cannot_tell" ? "Missing" : "Would make it surer"}</h3>
          <ul>
            {data.missing.map((item) => {
              const entry = entryOf(item.where);
              return (
                <li key={item.where + item.what}>
                  <b>{item.what}</b>: {item.how_to_get_it}.{" "}
                  <span class="note">Why: {item.why}.</span>{" "}
                  {entry === "readings.file" ? (
                    <button type="button" class="link" onClick={() => open("readings")}>
                      Write it among the readings
                    </button>
                  ) : entry ? (
                    <button type="button" class="link" onClick={() => open(`entries/${entry}`)}>
                      Enter it ({entry})
                    </button>
                  ) : (
                    <span class="note">{item.where}</span>
                  )}
                </li>
              );
            })}
          </ul>
        </section>
      )}
      <Figures one={one} data={data} />
      {(data.flips || data.fix) && (
        <section class="pair">
          {data.flips && (
            <div>
              <h3>What would change the answer</h3>
              <p>{data.flips}</p>
            </div>
          )}
          {data.fix && (
            <div>
              <h3>Cheapest mend</h3>
              <p>{data.fix}</p>
            </div>
          )}
        </section>
      )}
      {data.pictures.map((picture) => (
        <figure key={picture.name}>
          <figcaption>{picture.title}</figcaption>
          <div class="sheet" tabIndex={0} role="region" aria-label={picture.title}>
            <Drawing svg={picture.svg} title={picture.title} />
          </div>
        </figure>
      ))}
      {data.tables.map((table, place) => (
        <TableOf key={table.name} data={table} text={one.tables[place]} at={place} />
      ))}
      <Lines title="Taken for granted" items={data.assumed} name="assumed" />
      <Lines title="Sources" items={data.sources} name="sources" />
    </>
  );
}

export function Answer() {
  const at = route.value;
  const one = view.value;
  if (at.kind !== "question") return null;
  if (!one) return <p class="note">One moment.</p>;
  return (
    <article class="answer" aria-busy={one.state === "working"} data-state={one.state} data-question={one.question}>
      <h2 tabIndex={-1}>
        {one.asks}
        {one.program ? <span class="program"> {one.program}</span> : null}
      </h2>
      <Progress one={one} />
      {one.answer ? <Body one={one} data={one.answer} /> : null}
    </article>
  );
}
