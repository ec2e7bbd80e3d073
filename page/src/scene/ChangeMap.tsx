// In which poses a tool may be changed: hatched is not proven; the cross is the pose shown.
import type { SceneMore, SceneView } from "../api";

type Map = NonNullable<SceneMore["change_map"]>;

const WIDE = 300;
const HIGH = 170;
const LEFT = 46;
const degrees = (rad: number): number => Math.round((rad * 180) / Math.PI);

export function ChangeMap({
  map,
  sliders,
  pose,
  onPose,
}: {
  map: Map;
  sliders: SceneView["sliders"];
  pose: number[];
  onPose: (values: number[]) => void;
}) {
  const [t0, t1] = [map.tilt[0] ?? 0, map.tilt[map.tilt.length - 1] ?? 1];
  const [c0, c1] = [map.turn[0] ?? 0, map.turn[map.turn.length - 1] ?? 1];
  const x = (tilt: number): number => LEFT + ((tilt - t0) / (t1 - t0 || 1)) * (WIDE - LEFT - 8);
  const y = (turn: number): number => HIGH - 26 - ((turn - c0) / (c1 - c0 || 1)) * (HIGH - 40);
  const whole = 2 * Math.PI;
  let turn = pose[4] ?? 0;
  while (turn < c0 - 1e-9) turn += whole;
  while (turn > c1 + 1e-9) turn -= whole;
  const letter = (moves: string): string => sliders.find((one) => one.moves === moves)?.letter ?? moves;
  const clear = map.cells.every((row) => row.every((one) => one === "clear"));
  return (
    <details class="change-map">
      <summary>Poses for a tool change</summary>
      <p class="note">
        {clear ? "Every pose is proven clear." : "Blank: proven clear. Hatched: touches. Dotted: not proven. "}
        Press on the map to go to a pose.
      </p>
      <svg
        viewBox={`0 0 ${WIDE} ${HIGH}`}
        role="img"
        aria-label="Map of tilt and turn for tool changes"
        onClick={(event) => {
          const box = event.currentTarget.getBoundingClientRect();
          const px = ((event.clientX - box.left) / box.width) * WIDE;
          const py = ((event.clientY - box.top) / box.height) * HIGH;
          const tilt = t0 + ((px - LEFT) / (WIDE - LEFT - 8)) * (t1 - t0);
          const at = c0 + ((HIGH - 26 - py) / (HIGH - 40)) * (c1 - c0);
          const within = (value: number, low: number, high: number): number => Math.min(Math.max(value, low), high);
          onPose([pose[0] ?? 0, pose[1] ?? 0, pose[2] ?? 0, within(tilt, t0, t1), within(at, c0, c1)]);
        }}
      >
        <defs>
          <pattern id="touches" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
            <path d="M0 0v5" stroke="currentColor" stroke-width="1.8" />
          </pattern>
          <pattern id="open" width="5" height="5" patternUnits="userSpaceOnUse">
            <circle cx="2" cy="2" r="0.9" fill="currentColor" />
          </pattern>
        </defs>
        {map.cells.flatMap((row, i) =>
          row.map((one, j) =>
            one === "clear" ? null : (
              <rect
                key={`${i} ${j}`}
                x={x(map.tilt[i] ?? 0)}
                y={y(map.turn[j + 1] ?? 0)}
                width={x(map.tilt[i + 1] ?? 0) - x(map.tilt[i] ?? 0)}
                height={y(map.turn[j] ?? 0) - y(map.turn[j + 1] ?? 0)}
                fill={one === "forbidden" ? "url(#touches)" : "url(#open)"}
              />
            ),
          ),
        )}
        <rect x={x(t0)} y={y(c1)} width={x(t1) - x(t0)} height={y(c0) - y(c1)} fill="none" stroke="currentColor" />
        <path
          d={`M${x(pose[3] ?? 0) - 7} ${y(turn)}h14M${x(pose[3] ?? 0)} ${y(turn) - 7}v14`}
          stroke="currentColor"
          stroke-width="3"
        />
        <text x={x(t0)} y={HIGH - 10} text-anchor="start">
          {letter("tilt")} {degrees(t0)}
        </text>
        <text x={x(t1)} y={HIGH - 10} text-anchor="end">
          {degrees(t1)} deg
        </text>
        <text x={LEFT - 4} y={y(c0)} text-anchor="end">
          {letter("turn")} {degrees(c0)}
        </text>
        <text x={LEFT - 4} y={y(c1) + 9} text-anchor="end">
          {degrees(c1)}
        </text>
      </svg>
    </details>
  );
}
