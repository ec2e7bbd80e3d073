// The whole page: questions, words, scene.
import { useEffect, useRef } from "preact/hooks";
import { signal } from "@preact/signals";
import { Answer } from "./parts/Answer";
import { Questions } from "./parts/Questions";
import { Entries } from "./entries/Entries";
import { Readings } from "./entries/Readings";
import { Scene } from "./scene/Scene";
import { cell, key, linked, open, route, said, side, view } from "./state";

const light = signal<"as set" | "light" | "dark">(
  (localStorage.getItem("gudgeon light") as "light" | "dark" | null) ?? "as set",
);

function showLight(): void {
  const root = document.documentElement;
  if (light.value === "as set") delete root.dataset.light;
  else root.dataset.light = light.value;
}
showLight();

function Light() {
  const next = { "as set": "light", light: "dark", dark: "as set" } as const;
  return (
    <button
      type="button"
      class="quiet"
      onClick={() => {
        light.value = next[light.value];
        if (light.value === "as set") localStorage.removeItem("gudgeon light");
        else localStorage.setItem("gudgeon light", light.value);
        showLight();
      }}
    >
      Light: {light.value}
    </button>
  );
}

function Faults() {
  const faults = cell.value?.faults ?? [];
  if (faults.length === 0) return null;
  const wrong = faults.filter((fault) => fault.severity === "error").length;
  return (
    <details class="faults" open={wrong > 0}>
      <summary>
        {wrong > 0
          ? `${wrong === 1 ? "One fault" : `${wrong} faults`} in the cell's files: no answer until mended`
          : `${faults.length === 1 ? "One thing" : `${faults.length} things`} in the cell's files look doubtful`}
      </summary>
      <ul>
        {faults.map((fault, place) => (
          <li key={place}>
            <b>{fault.what}</b>
            {fault.line ? (
              <span class="note">
                {" "}
                {fault.file}, line {fault.line}
              </span>
            ) : null}
            {fault.text ? <code>{fault.text}</code> : null}
            <p>{fault.mend}</p>
          </li>
        ))}
      </ul>
    </details>
  );
}

/** A bar between two columns that can be dragged or moved with the arrow keys. */
function Divider({ name, start, low, high, grows }: { name: string; start: number; low: number; high: number; grows: 1 | -1 }) {
  const bar = useRef<HTMLDivElement>(null);
  const set = (width: number): void => {
    const kept = Math.min(Math.max(width, low), high);
    document.documentElement.style.setProperty(`--${name}`, `${kept}px`);
    bar.current?.setAttribute("aria-valuenow", String(Math.round(kept)));
    localStorage.setItem(`gudgeon ${name}`, String(kept));
  };
  const now = (): number => Number(bar.current?.getAttribute("aria-valuenow") ?? start);
  useEffect(() => set(Number(localStorage.getItem(`gudgeon ${name}`)) || start), []);
  return (
    <div
      ref={bar}
      class="divider"
      role="separator"
      tabIndex={0}
      aria-orientation="vertical"
      aria-label={`Width of the ${name}`}
      aria-valuemin={low}
      aria-valuemax={high}
      aria-valuenow={start}
      onKeyDown={(event) => {
        const step = { ArrowLeft: -24, ArrowRight: 24 }[event.key];
        if (step) set(now() + step * grows);
      }}
      onPointerDown={(event) => {
        const from = event.clientX;
        const width = now();
        const move = (to: PointerEvent): void => set(width + (to.clientX - from) * grows);
        const done = (): void => {
          removeEventListener("pointermove", move);
          removeEventListener("pointerup", done);
        };
        addEventListener("pointermove", move);
        addEventListener("pointerup", done);
      }}
    />
  );
}

export function App() {
  const at = route.value;
  const now = cell.value;
  const words = useRef<HTMLDivElement>(null);
  const place = at.kind === "question" ? key(at.name, at.program) : at.kind;
  useEffect(() => words.current?.scrollTo(0, 0), [place]);
  useEffect(() => {
    document.title = now ? `${now.name} - Gudgeon` : "Gudgeon";
  }, [now?.name]);
  return (
    <div class="page" data-side={side.value} data-linked={linked.value} data-ready={view.value?.state === "done"}>
      <a class="skip" href="#words" onClick={(event) => { event.preventDefault(); words.current?.focus(); }}>
        To the answer
      </a>
      <header class="top">
        <img src="/mark.svg" alt="" width="28" height="28" />
        <h1>
          {now?.name ?? "Gudgeon"} <span class="note">{now?.file ?? ""}</span>
        </h1>
        <div class="ways">
          {now?.read_only ? <span class="note">Reading only</span> : null}
          <button type="button" aria-pressed={at.kind === "entries"} onClick={() => open("entries")}>
            Entries
          </button>
          <button type="button" aria-pressed={at.kind === "readings"} onClick={() => open("readings")}>
            Readings
          </button>
          <Light />
        </div>
      </header>
      {!linked.value && (
        <p class="cut" role="alert">
          The program has stopped or cannot be reached. Nothing that you typed is lost; this page goes on by
          itself once the program runs again.
        </p>
      )}
      <p class="said" role="status" aria-live="polite">
        {said.value}
      </p>
      <nav class="sides" aria-label="What is shown">
        <button type="button" aria-pressed={side.value === "words"} onClick={() => (side.value = "words")}>
          Words
        </button>
        <button type="button" aria-pressed={side.value === "scene"} onClick={() => (side.value = "scene")}>
          Scene
        </button>
      </nav>
      <div class="regions">
        <section class="listed" aria-label="What can be asked">
          <Questions />
          <Divider name="list" start={300} low={200} high={460} grows={1} />
        </section>
        <main>
          <div id="words" ref={words} tabIndex={-1}>
            <Faults />
            {at.kind === "entries" ? <Entries path={at.path} /> : at.kind === "readings" ? <Readings /> : <Answer />}
          </div>
          <section class="seen" aria-label="The cell in three dimensions">
            <Divider name="stage" start={Math.round(innerWidth * 0.36)} low={320} high={1100} grows={-1} />
            <div id="scene">
              <Scene />
            </div>
          </section>
        </main>
      </div>
    </div>
  );
}
