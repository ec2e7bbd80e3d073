// The four verdicts: a shape of our own and the word; never a colour alone.
import type { Verdict } from "../api";

const WORDS: Record<Verdict, string> = {
  yes: "Yes",
  yes_if: "Yes, if ...",
  no: "No",
  cannot_tell: "Cannot tell yet",
};

export const word = (verdict: Verdict | null | undefined): string =>
  verdict ? WORDS[verdict] : "Not asked yet";

export function Mark({ verdict }: { verdict: Verdict | null | undefined }) {
  return (
    <svg class="mark" viewBox="0 0 24 24" aria-hidden="true" fill="none" stroke="currentColor" stroke-width="2">
      {verdict === "yes" && <circle cx="12" cy="12" r="10" fill="currentColor" />}
      {verdict === "yes_if" && (
        <>
          <circle cx="12" cy="12" r="10" />
          <path d="M12 2a10 10 0 0 0 0 20z" fill="currentColor" />
        </>
      )}
      {verdict === "no" && (
        <>
          <circle cx="12" cy="12" r="10" />
          <path d="M5 12h14" stroke-width="4" />
        </>
      )}
      {verdict === "cannot_tell" && <circle cx="12" cy="12" r="10" stroke-dasharray="4.2 3.66" />}
      {!verdict && <circle cx="12" cy="12" r="2.5" fill="currentColor" stroke="none" />}
    </svg>
  );
}
