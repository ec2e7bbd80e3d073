// What the last change changed: verdict and main figure of each answer, before and after.
import type { AnswerLine } from "../api";
import { word } from "../parts/Mark";
import { comparison, type Moved, outcome } from "./comparing";

function FromTo({ from, to }: { from: string; to: string }) {
  return (
    <>
      {from} <span aria-hidden="true">{"\u2192"}</span>
      <span class="unseen">, now</span> <b>{to}</b>
    </>
  );
}

const verdict = (line: AnswerLine): string => (line.state === "failed" ? "Not worked out" : word(line.verdict));

function One({ one }: { one: Moved }) {
  const { before, after, figure } = one;
  const turned = verdict(before) !== verdict(after);
  return (
    <li data-moved={one.key} data-turned={turned}>
      <a href={`#${one.key.split("/").map(encodeURIComponent).join("/")}`}>
        {one.asks}
        {one.program ? ` ${one.program}` : ""}
      </a>{" "}
      {turned ? <FromTo from={verdict(before)} to={verdict(after)} /> : `${verdict(after)} as before`}
      {figure ? (
        <>
          ; {figure.label}: <FromTo from={figure.before} to={figure.after} />
          {figure.more > 0 && (
            <span class="note"> and {figure.more === 1 ? "one more figure" : `${figure.more} more figures`}</span>
          )}
        </>
      ) : (
        !turned && after.headline && <>; {after.headline}</>
      )}
    </li>
  );
}

export function Outcome() {
  const found = outcome.value;
  if (!found) return null;
  const { moved, asBefore, open } = found;
  return (
    <section
      class="outcome"
      aria-label="What the change changed"
      tabIndex={0}
      data-open={open}
      data-moved-count={moved.length}
    >
      <h3>
        What it changed <span class="note">{found.words.join(", ")}</span>
      </h3>
      {moved.length > 0 && (
        <ul>
          {moved.map((one) => (
            <One key={one.key} one={one} />
          ))}
        </ul>
      )}
      {open > 0 && (
        <p class="note">
          {found.faulty
            ? "The files have a fault now: the answers are compared once it is mended."
            : `${open === 1 ? "One answer is" : `${open} answers are`} still being worked out.`}
        </p>
      )}
      {open === 0 && moved.length === 0 && <p>Nothing changed: every answer stands as before.</p>}
      {moved.length > 0 && asBefore.length > 0 && (
        <p class="note">
          As before: {asBefore.join(" ")}
        </p>
      )}
      <button type="button" class="quiet" onClick={() => (comparison.value = null)}>
        Put this away
      </button>
    </section>
  );
}
