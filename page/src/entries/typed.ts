// What was typed and not yet written, by path: kept in this browser with what the file said then.
import { computed, signal } from "@preact/signals";
import type { Entry, Form, Section } from "../api";
import { cell } from "../state";

export type Text = string | string[];

export interface Typed {
  mine: Text;
  /** What stood in the file when the typing began. */
  seen: Text | null;
  /** The file was found changed when this was about to be written. */
  torn: boolean;
}

export const typed = signal<Record<string, Typed>>({});
export const refused = signal<Record<string, string>>({});
export const form = signal<Form | null>(null);

const store = (): string => `gudgeon typed ${cell.value?.file ?? ""}`;

function set(now: Record<string, Typed>): void {
  typed.value = now;
  if (Object.keys(now).length > 0) localStorage.setItem(store(), JSON.stringify(now));
  else localStorage.removeItem(store());
}

export function recall(): void {
  try {
    const kept = JSON.parse(localStorage.getItem(store()) ?? "{}") as Record<string, Typed>;
    typed.value = Object.fromEntries(Object.entries(kept).filter(([, one]) => one?.mine !== undefined));
  } catch {
    localStorage.removeItem(store());
  }
}

export function keep(entry: Entry, mine: Text): void {
  const held = typed.value[entry.path];
  set({ ...typed.value, [entry.path]: held ? { ...held, mine } : { mine, seen: entry.text ?? null, torn: false } });
}

export function letGo(path: string): void {
  const { [path]: _, ...rest } = typed.value;
  set(rest);
  refuse(path, "");
}

/** It was written: what was typed further meanwhile stays typed. */
export function written(path: string, sent: Typed | undefined, text: Text | null): void {
  const held = typed.value[path];
  if (held && sent && !same(held.mine, sent.mine)) set({ ...typed.value, [path]: { ...held, seen: text, torn: false } });
  else letGo(path);
}

export function refuse(path: string, words: string): void {
  const { [path]: _, ...rest } = refused.value;
  refused.value = words ? { ...rest, [path]: words } : rest;
}

/** The file was changed by other means before these could be written. */
export function tear(paths: string[]): void {
  const now = { ...typed.value };
  for (const path of paths) {
    const held = now[path];
    if (held) now[path] = { ...held, torn: true };
  }
  set(now);
}

/** The person has seen what the file says now, and keeps what was typed. */
export function seenNow(entry: Entry): void {
  const held = typed.value[entry.path];
  if (held) set({ ...typed.value, [entry.path]: { ...held, seen: entry.text ?? null, torn: false } });
}

const same = (one: Text | null, other: Text | null): boolean => JSON.stringify(one) === JSON.stringify(other);

/** Whether the file says something else than it did when the typing began. */
export function conflicting(entry: Entry, wouldWrite: Text | null): boolean {
  const held = typed.value[entry.path];
  const now = entry.text ?? null;
  if (!held || same(wouldWrite, now)) return false;
  return held.torn || !same(held.seen, now);
}

/** Sections of a list have other places: what was typed in them goes with them. */
export function placed(list: string, to: (place: number) => number | null): void {
  const start = `${list}[`;
  const renamed = <T>(all: Record<string, T>): Record<string, T> =>
    Object.fromEntries(
      Object.entries(all).flatMap(([path, held]): [string, T][] => {
        const found = path.startsWith(start) ? /^(\d+)\](.*)$/.exec(path.slice(start.length)) : null;
        if (!found) return [[path, held]];
        const place = to(Number(found[1]));
        return place === null ? [] : [[`${start}${place}]${found[2]}`, held]];
      }),
    );
  set(renamed(typed.value));
  refused.value = renamed(refused.value);
}

const known = computed<Set<string>>(() => {
  const found = new Set<string>();
  const walk = (sections: Section[]): void => {
    for (const one of sections) {
      for (const entry of one.entries ?? []) found.add(entry.path);
      walk(one.sections ?? []);
    }
  };
  walk(form.value?.sections ?? []);
  return found;
});

/** Paths of what was typed in sections that are no longer in the file. */
export const lost = computed<string[]>(() =>
  form.value ? Object.keys(typed.value).filter((path) => !known.value.has(path)) : [],
);
