// A program played back: a time line with its tight spots, each by shape and word.
import { type Signal, signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { get, getBytes, type Spot } from "../api";
import { cell, changes, tried } from "../state";
import { pose } from "./Scene";

interface Track {
  program: string;
  rows: Float32Array;
  count: number;
  end: number;
}

const COLUMNS = 9;
const track = signal<Track | null>(null);
const spots = signal<Spot[]>([]);
const time = signal(0);
const playing = signal(false);
const speed = signal(4);
const loading = signal("");

/** Index of the last row that begins at or before a time. */
function rowAt(now: Track, t: number): number {
  let low = 0;
  let high = now.count - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if ((now.rows[middle * COLUMNS] ?? 0) <= t) low = middle;
    else high = middle - 1;
  }
  return low;
}

/** Index of the row that ends the move under way; at the end of a move still that move's. */
function underWay(now: Track, t: number): number {
  return Math.min(rowAt(now, t - 1e-3) + 1, now.count - 1);
}

function go(t: number, tool: Signal<number | null>): void {
  const now = track.value;
  if (!now) return;
  time.value = Math.min(Math.max(t, 0), now.end);
  const row = rowAt(now, time.value);
  const next = Math.min(row + 1, now.count - 1);
  const start = now.rows[row * COLUMNS] ?? 0;
  const span = (now.rows[next * COLUMNS] ?? 0) - start;
  const share = span > 0 ? Math.min((time.value - start) / span, 1) : 0;
  pose.value = [1, 2, 3, 4, 5].map((k) => {
    const a = now.rows[row * COLUMNS + k] ?? 0;
    return a + share * ((now.rows[next * COLUMNS + k] ?? 0) - a);
  });
  const number = now.rows[underWay(now, time.value) * COLUMNS + 8] ?? -1;
  if (number >= 0 && tool.value !== number) tool.value = number;
}

const GRADE: Record<Spot["grade"], string> = { danger: "touches", tight: "tight", unknown: "not proven" };

function SpotMark({ grade }: { grade: Spot["grade"] }) {
  return (
    <svg viewBox="0 0 14 14" class="spot" aria-hidden="true" fill="none" stroke="currentColor" stroke-width="2">
      {grade === "danger" && <path d="M2 2l10 10M12 2L2 12" stroke-width="3" />}
      {grade === "tight" && <path d="M3 1v12M11 1v12M3 7h8" />}
      {grade === "unknown" && <circle cx="7" cy="7" r="5" stroke-dasharray="3 2" />}
    </svg>
  );
}

export function Player({ tool }: { tool: Signal<number | null> }) {
  const programs = (cell.value?.programs ?? []).filter((one) => one.there !== false);
  const now = track.value;

  useEffect(() => {
    track.value = null;
    spots.value = [];
    playing.value = false;
  }, [changes.value]);

  useEffect(() => {
    if (!playing.value) return;
    let last = performance.now();
    let frame = requestAnimationFrame(function tick(at) {
      go(time.value + ((at - last) / 1000) * speed.value, tool);
      last = at;
      if (track.value && time.value >= track.value.end) playing.value = false;
      else frame = requestAnimationFrame(tick);
    });
    return () => cancelAnimationFrame(frame);
  }, [playing.value]);

  const load = async (program: string): Promise<void> => {
    loading.value = program;
    await tried(async () => {
      const at = encodeURIComponent(program);
      const rows = new Float32Array(await getBytes(`track/${at}`));
      const count = Math.floor(rows.length / COLUMNS);
      track.value = { program, rows, count, end: rows[(count - 1) * COLUMNS] ?? 0 };
      go(0, tool);
      spots.value = await get<Spot[]>(`track/${at}/spots`);
    });
    loading.value = "";
  };

  if (programs.length === 0) return null;
  if (!now) {
    return (
      <div class="player">
        {programs.map((one) => (
          <button type="button" key={one.file} disabled={loading.value !== ""} onClick={() => void load(one.file)}>
            {loading.value === one.file ? `Reading ${one.file} ...` : `Play ${one.file}`}
          </button>
        ))}
      </div>
    );
  }
  const line = now.rows[underWay(now, time.value) * COLUMNS + 7] ?? 0;
  return (
    <div class="player" data-program={now.program} data-time={time.value.toFixed(2)}>
      <div class="line">
        <button type="button" onClick={() => (playing.value = !playing.value)} data-playing={playing.value}>
          {playing.value ? "Pause" : "Play"}
        </button>
        <input
          type="range"
          min={0}
          max={now.end}
          step="any"
          value={time.value}
          aria-label={`Time in ${now.program}`}
          aria-valuetext={`${time.value.toFixed(1)} of ${now.end.toFixed(0)} seconds`}
          onInput={(event) => {
            playing.value = false;
            go(Number(event.currentTarget.value), tool);
          }}
        />
        <svg class="marks" viewBox="0 0 1000 16" preserveAspectRatio="none" aria-hidden="true">
          {spots.value.map((spot, place) => (
            <path key={place} d={`M${(1000 * spot.t) / (now.end || 1)} 0v16`} stroke="currentColor" stroke-width="3" />
          ))}
        </svg>
        <span class="number">
          {time.value.toFixed(1)} s of {now.end.toFixed(0)} s, line {line}
        </span>
        <label>
          Pace{" "}
          <select value={String(speed.value)} onChange={(event) => (speed.value = Number(event.currentTarget.value))}>
            {[0.25, 1, 4, 16, 64].map((one) => (
              <option key={one} value={String(one)}>
                {one} x
              </option>
            ))}
          </select>
        </label>
      </div>
      {spots.value.length > 0 && (
        <ul class="spots" aria-label="Tight spots">
          {spots.value.slice(0, 60).map((spot, place) => (
            <li key={place}>
              <button
                type="button"
                onClick={() => {
                  playing.value = false;
                  go(spot.t, tool);
                }}
              >
                <SpotMark grade={spot.grade} />
                <span>
                  {GRADE[spot.grade]}: {spot.words}
                </span>
                <span class="number">{spot.t.toFixed(1)} s</span>
              </button>
            </li>
          ))}
        </ul>
      )}
    </div>
  );
}
