// The list of questions with their verdicts; arrow keys go from the one that has the focus.
import { asked, key, lines, route } from "../state";
import { Mark, word } from "./Mark";

export function Questions() {
  const at = route.value;
  const here = at.kind === "question" ? key(at.name, at.program) : "";
  const onKey = (event: KeyboardEvent): void => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const list = event.currentTarget as HTMLElement;
    const links = [...list.querySelectorAll("a")];
    const now = links.indexOf(document.activeElement as HTMLAnchorElement);
    const to =
      event.key === "Home" ? 0 : event.key === "End" ? links.length - 1 : step ? now + step : -1;
    const next = links[to];
    if (!next || now < 0) return;
    event.preventDefault();
    next.focus();
  };
  return (
    <nav class="questions" aria-label="Questions" onKeyDown={onKey}>
      <ul>
        {asked.value.map((one) => {
          const line = lines.value[one.key];
          const busy = line?.state === "working" || line?.state === "waiting";
          return (
            <li key={one.key}>
              <a
                href={`#${one.key.split("/").map(encodeURIComponent).join("/")}`}
                aria-current={one.key === here ? "page" : undefined}
                data-question={one.key}
                data-verdict={line?.verdict ?? ""}
                data-state={line?.state ?? ""}
              >
                <Mark verdict={line?.verdict} />
                <span>
                  <span class="asks">{one.asks}</span>
                  <span class="word">
                    {busy
                      ? line?.state === "waiting"
                        ? "Waiting"
                        : `Working ${Math.round(100 * (line?.share ?? 0))} %`
                      : line?.state === "failed"
                        ? "Not worked out"
                        : word(line?.verdict)}
                    {one.program ? ` \u00b7 ${one.program}` : ""}
                  </span>
                </span>
              </a>
            </li>
          );
        })}
      </ul>
    </nav>
  );
}
