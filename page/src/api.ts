// Requests to the program on this computer; a refusal comes back in its own words.
import type { components } from "./wire";

type Schemas = components["schemas"];
export type AnswerLine = Schemas["AnswerLine"];
export type AnswerView = Schemas["AnswerView"];
export type AnswerData = Schemas["AnswerData"];
export type CellView = Schemas["CellView"];
export type Edited = Schemas["Edited"];
export type Entry = Schemas["Entry"];
export type Fault = Schemas["Fault"];
export type Form = Schemas["Form"];
export type Gap = Schemas["Gap"];
export type Happened = Schemas["Event"];
export type ReadingsView = Schemas["ReadingsView"];
export type Refusal = Schemas["Refusal"];
export type SceneMore = Schemas["SceneMore"];
export type SceneView = Schemas["SceneView"];
export type Section = Schemas["Section"];
export type Shown = Schemas["Shown"];
export type ShownTable = Schemas["ShownTable"];
export type Spot = Schemas["Spot"];

export type Verdict = NonNullable<AnswerLine["verdict"]>;

/** The program said no, or did not answer at all (`status` 0). */
export class Refused extends Error {
  constructor(
    readonly status: number,
    readonly refusal: Refusal,
  ) {
    super(refusal.what);
  }
}

async function reply(method: string, path: string, body?: unknown, stop?: AbortSignal): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(`/api/${path}`, {
      method,
      signal: stop,
      ...(body === undefined
        ? {}
        : { body: JSON.stringify(body), headers: { "content-type": "application/json" } }),
    });
  } catch (problem) {
    if (problem instanceof DOMException && problem.name === "AbortError") throw problem;
    throw new Refused(0, {
      what: "the program does not answer",
      where: "",
      mend: "start it again with  gudgeon show  and the name of the cell file",
    });
  }
  if (!response.ok) {
    let refusal: Refusal = { what: `refused (${response.status})`, where: "", mend: "" };
    try {
      refusal = { ...refusal, ...((await response.json()) as Refusal) };
    } catch {
      // the plain words above will do
    }
    throw new Refused(response.status, refusal);
  }
  return response;
}

export async function get<T>(path: string, stop?: AbortSignal): Promise<T> {
  return (await reply("GET", path, undefined, stop)).json() as Promise<T>;
}

export async function getBytes(path: string): Promise<ArrayBuffer> {
  return (await reply("GET", path)).arrayBuffer();
}

export async function send<T>(
  method: "POST" | "DELETE",
  path: string,
  body?: unknown,
  stop?: AbortSignal,
): Promise<T> {
  return (await reply(method, path, body, stop)).json() as Promise<T>;
}
