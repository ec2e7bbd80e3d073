// The gap at the pose shown, beside the clearance that is asked; the hatched side is too near.
import type { Gap } from "../api";
import { cell } from "../state";

const WIDE = 320;

export function GapGauge({ found, current }: { found: Gap | null; current: boolean }) {
  const inch = cell.value?.units === "in";
  const text = (mm: number): string =>
    inch ? `${(mm / 25.4).toFixed(3)} in` : `${mm.toFixed(mm < 10 ? 2 : 1)} mm`;
  const known = current && found?.gap_mm != null;
  const gap = found?.gap_mm ?? 0;
  const asked = found?.asked_mm ?? 1;
  // Three times what is asked stands in the middle; more goes towards the right end.
  const at = (mm: number): number => {
    const share = Math.max(mm, 0) / (Math.max(mm, 0) + 3 * Math.max(asked, 0.1));
    return 8 + share * (WIDE - 16);
  };
  const standing = !known
    ? "..."
    : gap <= 0
      ? "touches"
      : gap < asked
        ? `${text(gap)}: nearer than asked`
        : text(gap);
  return (
    <div class="gap" data-gap={known ? gap.toFixed(3) : ""} data-current={known}>
      <p>
        <b>Gap</b> <span class="number">{found && !known && current ? "not known" : standing}</span>{" "}
        <span class="note">
          {known && found.pair.length === 2 ? `${found.pair[0]} to ${found.pair[1]}` : (current && found?.words) || ""}
        </span>
      </p>
      <svg viewBox={`0 0 ${WIDE} 34`} aria-hidden="true">
        <defs>
          <pattern id="near" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
            <path d="M0 0v6" stroke="currentColor" stroke-width="1.6" />
          </pattern>
        </defs>
        <rect x="8" y="6" width={at(asked) - 8} height="12" fill="url(#near)" />
        <path d={`M8 12H${WIDE - 8}`} stroke="currentColor" stroke-width="1.5" />
        <path d={`M${at(asked)} 2v20`} stroke="currentColor" stroke-width="3" />
        <text x={Math.max(at(asked), 40)} y="33" text-anchor="middle">
          asked {text(asked)}
        </text>
        {known && <circle cx={at(gap)} cy="12" r="6" class="paper-fill" stroke="currentColor" stroke-width="3" />}
      </svg>
    </div>
  );
}
