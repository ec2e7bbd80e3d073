// Changes on their way into the file, one after the other.
import { type Edited, type Form, get, Refused, send } from "../api";
import { say, tried } from "../state";
import { compared } from "./comparing";
import { form, refuse, type Text, tear, typed, written } from "./typed";

let newest = 0;

export async function load(): Promise<void> {
  const place = (newest += 1);
  const found = await tried(() => get<Form>("entries"));
  if (found && place === newest) form.value = found;
}

let before: Promise<unknown> = Promise.resolve();

/** Write changes one after the other, so that each knows the file as the one before left it. */
function inTurn<T>(work: () => Promise<T>): Promise<T> {
  const done = before.then(work);
  before = done.catch(() => undefined);
  return done;
}

export type Change = { path: string; text: Text | null };

export const write = (asked: Change[]): Promise<boolean> => inTurn(() => writeNow(asked));

/** Write changes; what is refused stays typed and says why. */
async function writeNow(asked: Change[]): Promise<boolean> {
  const now = form.value;
  if (!now) return false;
  const sent = typed.value;
  try {
    const edited = await compared(
      asked.map((one) => one.path),
      () => send<Edited>("POST", "edit", { digest: now.digest, changes: asked }),
    );
    form.value = { ...(form.value ?? now), digest: edited.digest };
    for (const { path, text } of asked) written(path, sent[path], text);
    await load();
    return true;
  } catch (problem) {
    if (!(problem instanceof Refused)) throw problem;
    const words = [problem.refusal.what, problem.refusal.mend].filter(Boolean).join(": ");
    if (problem.status === 409) {
      const mine = asked.map((one) => one.path).filter((path) => typed.value[path]);
      tear(mine);
      await load();
      say(
        mine.length > 0
          ? "The file was changed by other means meanwhile. Nothing was written: choose at the entry."
          : "The file was changed by other means meanwhile. Nothing was written: look at it, and press again.",
      );
    } else if (problem.status === 0) {
      say("The program does not answer. What you typed is kept in this browser.");
    } else {
      for (const { path } of asked) refuse(path, words);
    }
    return false;
  }
}

export const step = (which: "undo" | "redo"): Promise<void> =>
  inTurn(async () => {
    const edited = await tried(() =>
      compared([which === "undo" ? "undone" : "made again"], () =>
        send<Edited>("POST", which, { digest: form.value?.digest }),
      ),
    );
    if (edited && form.value) form.value = { ...form.value, digest: edited.digest };
    await load();
  });
