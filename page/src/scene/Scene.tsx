// The scene with its sliders: posed at once, the gap told as soon as it is known.
import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { type Gap, get, getBytes, Refused, type SceneMore, type SceneView, send } from "../api";
import { cell, changes, tried } from "../state";
import { ChangeMap } from "./ChangeMap";
import { GapGauge } from "./GapGauge";
import { readModel } from "./glb";
import { Player } from "./Player";
import { LEGEND, MOVES, Stage } from "./stage";

export const pose = signal<number[]>([0, 0, 0, 0, 0]);
export const gap = signal<{ found: Gap; of: string } | null>(null);
export const scene = signal<SceneView | null>(null);
/** What takes proofs, and comes after the model; of the scene with the same digest. */
const more = signal<SceneMore | null>(null);
/** Digest of the scene for which that could not be had. */
const without = signal("");
const tool = signal<number | null>(null);
const boxShown = signal(false);
/** Which place of the unit is shown; -1: where it stands. */
const stand = signal(-1);
const problem = signal("");

type Slider = SceneView["sliders"][number];

/** A value as it is shown: degrees, and millimetres or inches. */
export function shown(slider: Slider, value: number): number {
  if (slider.unit === "rad") return (value * 180) / Math.PI;
  return cell.value?.units === "in" ? value / 25.4 : value;
}

function meant(slider: Slider, value: number): number {
  if (slider.unit === "rad") return (value * Math.PI) / 180;
  return cell.value?.units === "in" ? value * 25.4 : value;
}

const decimals = (slider: Slider): number => (slider.unit === "rad" ? 2 : cell.value?.units === "in" ? 3 : 2);
const unit = (slider: Slider): string => (slider.unit === "rad" ? "deg" : (cell.value?.units ?? "mm"));

export function setPose(values: number[]): void {
  pose.value = values;
}

/** Where the unit is shown if not where it stands: x, y, yaw. */
function standing(): number[] | null {
  const one = more.value?.digest === scene.value?.digest ? more.value?.placements?.[stand.value] : undefined;
  return one ? [...one.xy, one.yaw] : null;
}

const shownNow = (): string => JSON.stringify([pose.value, tool.value, standing()]);

let asking = false;
let again = false;

/** Ask for the gap at the pose as it is now; the newest wins. */
async function askGap(): Promise<void> {
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  const of = shownNow();
  try {
    gap.value = { found: await send<Gap>("POST", "gap", { pose: pose.value, tool: tool.value, stand: standing() }), of };
  } catch (refused) {
    if (!(refused instanceof Refused)) throw refused;
    gap.value = null;
  } finally {
    asking = false;
    if (again) {
      again = false;
      void askGap();
    }
  }
}

async function askMore(digest: string, stop: AbortSignal): Promise<void> {
  try {
    const found = await tried(() => get<SceneMore>("scene/more", stop));
    if (stop.aborted) return;
    if (!found) without.value = digest;
    else if (found.digest === digest) {
      if (stand.value >= (found.placements ?? []).length) stand.value = -1;
      more.value = found;
    } // else the files have changed: it is asked for again with the scene
  } catch (problem) {
    if (!(problem instanceof DOMException)) throw problem;
  }
}

function Axis({ slider }: { slider: Slider }) {
  const place = MOVES.indexOf(slider.moves);
  const value = pose.value[place] ?? 0;
  const set = (to: number): void => {
    const kept = Math.min(Math.max(to, slider.low), slider.high);
    setPose(pose.value.map((old, k) => (k === place ? kept : old)));
  };
  const step = slider.unit === "rad" ? Math.PI / 36 : cell.value?.units === "in" ? 6.35 : 5;
  const id = `axis-${slider.moves}`;
  return (
    <div class="axis-row">
      <label for={id}>{slider.letter}</label>
      <button type="button" aria-label={`${slider.letter} minus a step`} onClick={() => set(value - step)}>
        &minus;
      </button>
      <input
        id={id}
        type="range"
        min={slider.low}
        max={slider.high}
        step="any"
        value={value}
        aria-valuetext={`${shown(slider, value).toFixed(decimals(slider))} ${unit(slider)}`}
        onInput={(event) => set(Number(event.currentTarget.value))}
      />
      <button type="button" aria-label={`${slider.letter} plus a step`} onClick={() => set(value + step)}>
        +
      </button>
      <input
        class="number"
        type="text"
        inputMode="decimal"
        aria-label={`${slider.letter} in ${unit(slider)}`}
        value={shown(slider, value).toFixed(decimals(slider))}
        onChange={(event) => {
          const typed = Number(event.currentTarget.value.replace(",", "."));
          if (Number.isFinite(typed)) set(meant(slider, typed));
          else event.currentTarget.value = shown(slider, value).toFixed(decimals(slider));
        }}
      />
      <span class="unit">{unit(slider)}</span>
    </div>
  );
}

/** The places where the unit could stand, one after the other, the best first. */
function Places({ all }: { all: NonNullable<SceneMore["placements"]> }) {
  const one = all[stand.value];
  const step = (by: number): void => {
    const to = stand.value + by;
    stand.value = to < -1 ? all.length - 1 : to >= all.length ? -1 : to;
  };
  return (
    <div class="places" data-stand={stand.value}>
      <button type="button" onClick={() => step(-1)} aria-label="The place before">
        &lsaquo;
      </button>
      <p>
        <b>{one ? `Place ${stand.value + 1} of ${all.length}` : "Where the unit stands"}</b>
        <span class="note">
          {one
            ? `${one.verdict === "yes" ? "possible" : "not possible"}; turned ${Math.round(((one.yaw * 180) / Math.PI + 360) % 360)} deg; ${one.words}. The gap is that of the unit standing there.`
            : `Step through ${all.length} places on the T-slots.`}
        </span>
      </p>
      <button type="button" onClick={() => step(1)} aria-label="The next place">
        &rsaquo;
      </button>
    </div>
  );
}

const dark = (): boolean => {
  const set = document.documentElement.dataset.light;
  return set === "dark" || (set !== "light" && matchMedia("(prefers-color-scheme: dark)").matches);
};

export function Scene() {
  const holder = useRef<HTMLDivElement>(null);
  const words = useRef<HTMLDivElement>(null);
  const stage = useRef<Stage | null>(null);
  const now = scene.value;
  const rest = more.value?.digest === now?.digest ? more.value : null;
  const places = rest?.placements ?? [];

  useEffect(() => {
    if (!holder.current || !words.current) return;
    try {
      stage.current = new Stage(holder.current, words.current);
    } catch {
      problem.value = "This browser cannot draw in three dimensions; all else works.";
      return;
    }
    const watch = new MutationObserver(() => stage.current?.recolour(dark()));
    watch.observe(document.documentElement, { attributes: true, attributeFilter: ["data-light"] });
    const scheme = matchMedia("(prefers-color-scheme: dark)");
    const onScheme = (): void => stage.current?.recolour(dark());
    scheme.addEventListener("change", onScheme);
    stage.current.onDrawn = () => {
      if (!holder.current || !stage.current?.loaded) return;
      holder.current.dataset.drawn = String(Number(holder.current.dataset.drawn ?? 0) + 1);
      holder.current.dataset.ms = stage.current.drawnMs.toFixed(1);
      holder.current.dataset.pose = pose.value.map((value) => value.toFixed(4)).join(" ");
    };
    return () => {
      watch.disconnect();
      scheme.removeEventListener("change", onScheme);
    };
  }, []);

  useEffect(() => {
    if (!cell.value) return;
    let gone = false;
    void tried(async () => {
      const found = await get<SceneView>("scene");
      if (gone || (scene.value?.digest === found.digest && stage.current?.loaded)) return;
      const few = readModel(await getBytes(`scene.glb?digest=${found.digest}`));
      if (gone) return;
      const first = scene.value === null;
      scene.value = found;
      if (first) {
        pose.value = found.start;
        tool.value = found.tools[0]?.number ?? null;
      }
      stage.current?.load(found, few, dark());
      stage.current?.pose(pose.value);
      if (found.triangles_full > found.triangles) {
        const full = readModel(await getBytes(`scene.glb?digest=${found.digest}&full=true`));
        if (!gone) stage.current?.loadFull(full);
      }
    });
    return () => {
      gone = true;
    };
  }, [cell.value?.inputs, changes.value]);

  useEffect(() => {
    stage.current?.pose(pose.value);
    if (scene.value) void askGap();
  }, [pose.value, tool.value, stand.value, rest, now]);

  useEffect(() => {
    const at = now?.tools.find((one) => one.number === tool.value);
    if (at) stage.current?.tool(at.node);
  }, [tool.value, now]);

  useEffect(() => {
    if (!now || more.value?.digest === now.digest) return;
    const stop = new AbortController();
    void askMore(now.digest, stop.signal);
    return () => stop.abort(); // a browser keeps few requests open at a time
  }, [now]);

  useEffect(() => stage.current?.showBox(rest?.safe_box ?? null, boxShown.value), [boxShown.value, rest, now]);

  useEffect(() => stage.current?.place(places[stand.value]?.matrix ?? null), [stand.value, rest, now]);

  const current = gap.value && gap.value.of === shownNow();
  useEffect(() => {
    stage.current?.showGap(current && gap.value ? gap.value.found.points : null);
  }, [gap.value, current]);

  return (
    <>
      <div class="in-sight">
        <div class="stage" ref={holder}>
          <div class="axis-words" ref={words} aria-hidden="true" />
          <div class="looks" role="group" aria-label="Look at it from">
            {(["corner", "front", "right", "above", "near"] as const).map((from) => (
              <button type="button" key={from} onClick={() => stage.current?.look(from)}>
                {from}
              </button>
            ))}
          </div>
        </div>
        {problem.value && <p class="note">{problem.value}</p>}
        <GapGauge found={gap.value?.found ?? null} current={Boolean(current)} />
      </div>
      <Player tool={tool} />
      <div class="axes" role="group" aria-label="Axes">
        {(now?.sliders ?? []).map((slider) => (
          <Axis slider={slider} key={slider.moves} />
        ))}
      </div>
      <div class="choices">
        {now && now.tools.length > 0 && (
          <label>
            Tool{" "}
            <select
              value={String(tool.value ?? "")}
              onChange={(event) => (tool.value = Number(event.currentTarget.value))}
            >
              {now.tools.map((one) => (
                <option key={one.node} value={String(one.number ?? "")} disabled={one.number == null}>
                  {one.name}
                </option>
              ))}
            </select>
          </label>
        )}
        {rest?.safe_box && (
          <label class="tick">
            <input
              type="checkbox"
              checked={boxShown.value}
              onChange={(event) => (boxShown.value = event.currentTarget.checked)}
            />
            Proven travel of the spindle
          </label>
        )}
        <ul class="legend">
          {LEGEND.map(([role, name]) => (
            <li key={role}>
              <span class={`swatch ${role}`} aria-hidden="true" />
              {name}
            </li>
          ))}
        </ul>
      </div>
      {now && !rest && (
        <p class="note" data-rest="awaited">
          Places of the unit, proven travel and poses for a tool change{" "}
          {without.value === now.digest ? "could not be worked out." : "are being worked out."}
        </p>
      )}
      {places.length > 0 && <Places all={places} />}
      {now && rest?.change_map && (
        <ChangeMap map={rest.change_map} sliders={now.sliders} pose={pose.value} onPose={setPose} />
      )}
      {now && now.lines.length > 0 && (
        <p class="note">
          {now.lines
            .filter((line) => (line.u_mm ?? 0) > 0)
            .map(
              (line) =>
                `The tube of the ${line.name} line is ${line.magnified} times as wide as the line is unsure at 95 %.`,
            )
            .join(" ")}
        </p>
      )}
      {now && now.notes.length > 0 && (
        <details class="notes">
          <summary>What is not shown ({now.notes.length})</summary>
          <ul>
            {now.notes.map((note) => (
              <li key={note}>{note}</li>
            ))}
          </ul>
        </details>
      )}
    </>
  );
}
