// A drawing of an answer: plain drawing marks only, its colours those of the page.
import { useMemo } from "preact/hooks";

const DRAWN = new Set(
  "svg title desc defs pattern clipPath g path circle ellipse rect line polyline polygon text tspan".split(" "),
);
const INK = "#16202b";
const PAPER = "#ffffff";
let count = 0;

function cleaned(svg: string): SVGSVGElement | null {
  const parsed = new DOMParser().parseFromString(svg, "image/svg+xml");
  const root = parsed.documentElement;
  if (root.nodeName !== "svg" || parsed.querySelector("parsererror")) return null;
  const prefix = `d${(count += 1)}-`;
  for (const element of [root, ...root.querySelectorAll("*")]) {
    if (!DRAWN.has(element.nodeName)) return null;
    for (const { name, value } of [...element.attributes]) {
      if (name.startsWith("on") || name === "style" || name.includes("href")) return null;
      if (name === "id") element.setAttribute(name, prefix + value);
      else if (value.includes("url(")) {
        if (!/^url\(#[\w.-]+\)$/.test(value)) return null;
        element.setAttribute(name, value.replace("url(#", `url(#${prefix}`));
      } else if ((name === "fill" || name === "stroke") && value.toLowerCase() === PAPER) {
        element.classList.add(`paper-${name}`);
      } else if ((name === "fill" || name === "stroke") && value.toLowerCase() === INK) {
        element.setAttribute(name, "currentColor");
      } else if (name === "color" || name === "font-family") element.removeAttribute(name);
    }
  }
  return document.importNode(root, true) as unknown as SVGSVGElement;
}

export function Drawing({ svg, title }: { svg: string; title: string }) {
  const made = useMemo(() => cleaned(svg), [svg]);
  if (!made) return <p class="note">This drawing holds more than drawing marks and is not shown.</p>;
  return (
    <div
      class="drawing"
      role="img"
      aria-label={title}
      ref={(box) => {
        if (box) box.replaceChildren(made);
      }}
    />
  );
}
