// The cell drawn in three dimensions: posed here from the joint tree, rendered only when something
// changes.  Ink edges on plain bodies; colours of roles are doubled by the legend's words.
import * as three from "three";
import type { SceneMore, SceneView } from "../api";
import type { Part } from "./glb";

export const MOVES = ["x", "y", "z", "tilt", "turn"] as const;
export type Move = (typeof MOVES)[number];

/** Fill of each role, light and dark; chosen to be told apart by lightness too. */
const FILLS: Record<string, [string, string]> = {
  table: ["#d8d3c8", "#4b4a47"],
  unit: ["#8fb3c9", "#3f6a84"],
  fixture: ["#e3c38a", "#8a6a2e"],
  stock: ["#f3e7b5", "#b0a05a"],
  part: ["#f3e7b5", "#b0a05a"],
  cutter: ["#2e2347", "#e8e2f4"],
  shank: ["#6d6683", "#b9b1cc"],
  holder: ["#b9b4c6", "#7d7794"],
  nose: ["#cbc7d2", "#66626f"],
  guard: ["#efeae0", "#2a2a2c"],
  hose: ["#c99fb5", "#7d4f68"],
};

export const LEGEND: [string, string][] = [
  ["unit", "unit"],
  ["fixture", "fixture"],
  ["stock", "parts"],
  ["holder", "holder"],
  ["cutter", "cutter"],
  ["table", "table"],
];

const MM = 0.001;
const EDGES_MOST = 6000;
const REST_MS = 260;
/** A drawing that takes longer is made with fewer points of the screen while something moves. */
const SLOW_MS = 12;
const COARSE = 0.5;

export interface Label {
  words: string;
  at: three.Object3D;
}

export class Stage {
  private readonly renderer: three.WebGLRenderer;
  private readonly world = new three.Scene();
  private readonly camera = new three.PerspectiveCamera(32, 1, 0.01, 50);
  private readonly links = new Map<string, { group: three.Group; link: SceneView["tree"][number] }>();
  private few: three.Object3D[] = [];
  private all: three.Object3D[] = [];
  private dark = false;
  private wanted = false;
  private resting = 0;
  private target = new three.Vector3();
  private turn = -0.9;
  private lift = 0.5;
  private far = 2;
  private reach = 1;
  /** Middle of what stands on the table, in the table's frame. */
  private middle = new three.Vector3();
  private gap: three.Line | null = null;
  private box: three.LineSegments | null = null;
  private safe: SceneMore["safe_box"] = null;
  private boxShown = false;
  private labels: { at: three.Object3D; element: HTMLElement }[] = [];
  private view: SceneView | null = null;
  private parts: Part[] = [];
  private full: Part[] | null = null;
  private toolNode = "";
  /** Milliseconds from the last pose to its picture. */
  drawnMs = 0;
  private posedAt = 0;
  private fresh = false;
  private readonly fine = Math.min(devicePixelRatio, 1.5);
  private slow: boolean | null = null;
  onDrawn: (() => void) | null = null;

  constructor(
    private readonly holder: HTMLElement,
    private readonly words: HTMLElement,
  ) {
    this.renderer = new three.WebGLRenderer({ antialias: true, alpha: true });
    this.renderer.setPixelRatio(this.fine);
    this.camera.up.set(0, 0, 1);
    this.world.add(new three.HemisphereLight("#ffffff", "#b8b0a4", 2.1));
    const sun = new three.DirectionalLight("#ffffff", 1.5);
    sun.position.set(1.5, -2.5, 4);
    this.world.add(sun);
    const canvas = this.renderer.domElement;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", "The cell; arrow keys turn the view, plus and minus bring it nearer");
    holder.append(canvas);
    this.listen(canvas);
    new ResizeObserver(() => this.size()).observe(holder);
    this.size();
  }

  get loaded(): boolean {
    return this.view !== null;
  }

  load(view: SceneView, parts: Part[], dark: boolean): void {
    const first = this.view === null;
    this.view = view;
    this.parts = parts;
    this.full = null;
    this.dark = dark;
    this.build();
    this.fresh = first;
  }

  loadFull(parts: Part[]): void {
    this.full = parts;
    this.all = this.meshes(parts);
    this.rest();
  }

  recolour(dark: boolean): void {
    if (dark === this.dark || !this.view) return;
    this.dark = dark;
    this.build();
  }

  private build(): void {
    const view = this.view;
    if (!view) return;
    for (const { group } of this.links.values()) group.removeFromParent();
    this.links.clear();
    this.words.replaceChildren();
    this.labels = [];
    this.gap = null;
    for (const link of view.tree) {
      const group = new three.Group();
      const parent = link.parent ? this.links.get(link.parent)?.group : undefined;
      (parent ?? this.world).add(group);
      this.links.set(link.name, { group, link });
    }
    this.few = this.meshes(this.parts);
    this.all = this.full ? this.meshes(this.full) : [];
    const all = new three.Box3();
    for (const part of this.parts) {
      if (part.role === "guard" || part.role === "nose" || part.role === "table") continue;
      const box = new three.Box3().setFromArray(part.corners);
      const moved = this.links.get(part.link)?.link.name;
      if (moved === "table" || moved === "unit" || moved === "tilt" || moved === "rotary") all.union(box);
    }
    if (all.isEmpty()) all.setFromCenterAndSize(new three.Vector3(), new three.Vector3(1, 1, 1));
    this.middle = all.getCenter(new three.Vector3());
    this.reach = all.getSize(new three.Vector3()).length();
    this.drawLines(view);
    this.drawTriad(all);
    this.drawBox();
    this.tool(this.toolNode || (view.tools[0]?.node ?? ""));
    this.rest();
  }

  private meshes(parts: Part[]): three.Object3D[] {
    const ink = this.dark ? "#e8e2f4" : "#2e2347";
    const made: three.Object3D[] = [];
    for (const part of parts) {
      const home = this.links.get(part.link)?.group;
      if (!home || part.corners.length === 0) continue;
      const shape = new three.BufferGeometry();
      shape.setAttribute("position", new three.BufferAttribute(part.corners, 3));
      const edges = part.corners.length / 9 <= EDGES_MOST;
      if (part.role !== "guard") {
        const mesh = new three.Mesh(
          shape,
          new three.MeshLambertMaterial({
            color: (FILLS[part.role] ?? FILLS.unit!)[this.dark ? 1 : 0],
            flatShading: true,
            side: three.DoubleSide,
            polygonOffset: true,
            polygonOffsetFactor: 1,
            polygonOffsetUnits: 1,
          }),
        );
        home.add(mesh);
        made.push(mesh);
      }
      if (edges) {
        const lines = new three.LineSegments(
          new three.EdgesGeometry(shape, 28),
          new three.LineBasicMaterial({
            color: ink,
            transparent: true,
            opacity: part.role === "guard" ? 0.25 : 0.75,
          }),
        );
        home.add(lines);
        made.push(lines);
      }
    }
    return made;
  }

  private label(words: string, at: three.Object3D): void {
    const element = document.createElement("span");
    element.className = "axis";
    element.textContent = words;
    this.words.append(element);
    this.labels.push({ at, element });
  }

  private drawLines(view: SceneView): void {
    const ink = this.dark ? "#ffffff" : "#16202b";
    const letters = Object.fromEntries(view.sliders.map((slider) => [slider.moves, slider.letter]));
    for (const line of view.lines) {
      const home = this.links.get(line.node)?.group;
      if (!home) continue;
      const along = new three.Vector3().fromArray(line.direction).normalize();
      const middle = new three.Vector3().fromArray(line.point).multiplyScalar(MM);
      const length = 0.75 * this.reach;
      const half = along.clone().multiplyScalar(length / 2);
      const thin = new three.BufferGeometry().setFromPoints([middle.clone().sub(half), middle.clone().add(half)]);
      const dashed = new three.Line(
        thin,
        new three.LineDashedMaterial({ color: ink, dashSize: 0.03, gapSize: 0.012, depthTest: false }),
      );
      dashed.computeLineDistances();
      dashed.renderOrder = 2;
      home.add(dashed);
      const width = (line.u_mm ?? 0) * line.magnified * MM;
      if (width > 0) {
        // The tube widens away from its middle as the direction is unsure.
        const spread = (line.u_rad ?? 0) * line.magnified * (length / 2);
        const rings = Array.from({ length: 13 }, (_, place) => {
          const at = (place / 12 - 0.5) * 2;
          return new three.Vector2(Math.hypot(width, spread * at), (at * length) / 2);
        });
        const tube = new three.Mesh(
          new three.LatheGeometry(rings, 28),
          new three.MeshBasicMaterial({ color: ink, transparent: true, opacity: 0.13, side: three.DoubleSide, depthWrite: false }),
        );
        tube.quaternion.setFromUnitVectors(new three.Vector3(0, 1, 0), along);
        tube.position.copy(middle);
        home.add(tube);
      }
      const move = line.name === "tilt" ? "tilt" : "turn";
      const sense = view.tree.find((link) => link.name === line.name)?.sense ?? 1;
      const end = middle.clone().add(half);
      home.add(this.turnArrow(end, along, sense, ink));
      const post = new three.Object3D();
      post.position.copy(end);
      home.add(post);
      this.label(`${letters[move] ?? move}+`, post);
    }
  }

  /** An arc with an arrow: the way that a plus command turns the work. */
  private turnArrow(at: three.Vector3, along: three.Vector3, sense: number, ink: string): three.Object3D {
    const made = new three.Group();
    const size = 0.05 * this.reach;
    const points = Array.from({ length: 33 }, (_, place) => {
      const angle = (place / 32) * 1.5 * Math.PI * sense;
      return new three.Vector3(Math.cos(angle) * size, Math.sin(angle) * size, 0);
    });
    const material = new three.LineBasicMaterial({ color: ink, depthTest: false });
    const arc = new three.Line(new three.BufferGeometry().setFromPoints(points), material);
    arc.renderOrder = 2;
    const tip = new three.Mesh(
      new three.ConeGeometry(size * 0.22, size * 0.6, 12),
      new three.MeshBasicMaterial({ color: ink, depthTest: false }),
    );
    tip.renderOrder = 2;
    tip.position.copy(points[32]!);
    const heading = points[32]!.clone().sub(points[31]!).normalize();
    tip.quaternion.setFromUnitVectors(new three.Vector3(0, 1, 0), heading);
    made.add(arc, tip);
    made.quaternion.setFromUnitVectors(new three.Vector3(0, 0, 1), along);
    made.position.copy(at);
    return made;
  }

  /** X, Y, Z as the tool moves over the work, at a corner of the table. */
  private drawTriad(all: three.Box3): void {
    const home = this.links.get("table")?.group;
    if (!home) return;
    const ink = this.dark ? "#ffffff" : "#16202b";
    const corner = new three.Vector3(all.min.x, all.min.y, all.min.z);
    const size = 0.12 * this.reach;
    const directions: [string, three.Vector3][] = [
      ["X+", new three.Vector3(1, 0, 0)],
      ["Y+", new three.Vector3(0, 1, 0)],
      ["Z+", new three.Vector3(0, 0, 1)],
    ];
    for (const [words, direction] of directions) {
      const arrow = new three.ArrowHelper(direction, corner, size, ink, size * 0.2, size * 0.1);
      home.add(arrow);
      const post = new three.Object3D();
      post.position.copy(corner).addScaledVector(direction, size * 1.12);
      home.add(post);
      this.label(words, post);
    }
  }

  private drawBox(): void {
    this.box?.removeFromParent();
    this.box = null;
    const safe = this.safe;
    if (!safe?.x || !safe.y || !safe.z) return;
    const low = new three.Vector3(safe.x[0], safe.y[0], safe.z[0]).multiplyScalar(MM);
    const high = new three.Vector3(safe.x[1], safe.y[1], safe.z[1]).multiplyScalar(MM);
    const size = high.clone().sub(low);
    const box = new three.BoxGeometry(size.x, size.y, Math.max(size.z, 1e-4));
    this.box = new three.LineSegments(
      new three.EdgesGeometry(box),
      new three.LineDashedMaterial({ color: this.dark ? "#ffffff" : "#16202b", dashSize: 0.02, gapSize: 0.015 }),
    );
    this.box.position.copy(low).addScaledVector(size, 0.5);
    this.box.computeLineDistances();
    this.box.visible = this.boxShown;
    this.links.get("table")?.group.add(this.box);
  }

  /** Show proven travel, or not; none: it is not known. */
  showBox(safe: SceneMore["safe_box"], shown: boolean): void {
    this.boxShown = shown;
    if (safe !== this.safe) {
      this.safe = safe;
      this.drawBox();
    }
    if (this.box) this.box.visible = shown;
    this.draw();
  }

  tool(node: string): void {
    this.toolNode = node;
    for (const tool of this.view?.tools ?? []) {
      const group = this.links.get(tool.node)?.group;
      if (group) group.visible = tool.node === node;
    }
    this.draw();
  }

  /** Pose every link; `values` in mm and rad as the control displays them. */
  pose(values: readonly number[]): void {
    this.posedAt = performance.now();
    const turned = new three.Quaternion();
    const axis = new three.Vector3();
    const origin = new three.Vector3();
    for (const { group, link } of this.links.values()) {
      if (!link.moves_with || !link.axis) continue;
      const value = ((values[MOVES.indexOf(link.moves_with)] ?? 0) - (link.zero ?? 0)) * (link.sense ?? 1);
      axis.fromArray(link.axis);
      if (link.moves_with === "tilt" || link.moves_with === "turn") {
        axis.normalize();
        turned.setFromAxisAngle(axis, value);
        origin.fromArray(link.origin).multiplyScalar(MM);
        group.quaternion.copy(turned);
        group.position.copy(origin).sub(origin.clone().applyQuaternion(turned));
      } else {
        group.position.copy(axis).multiplyScalar(value * MM);
      }
    }
    if (this.fresh) {
      this.fresh = false;
      this.look("corner");
    }
    this.moving();
  }

  /** Show the unit where it could stand: rows of a matrix in metres; none: where it stands. */
  place(matrix: readonly number[] | null): void {
    const group = this.links.get("unit")?.group;
    if (!group) return;
    const to = new three.Matrix4();
    if (matrix && matrix.length === 16) to.fromArray(matrix as number[]).transpose();
    to.decompose(group.position, group.quaternion, group.scale);
    this.draw();
  }

  /** Show between which points the gap is, both in the table's frame [mm]. */
  showGap(points: number[][] | null): void {
    this.gap?.removeFromParent();
    this.gap = null;
    const home = this.links.get("table")?.group;
    if (points && points.length === 2 && home) {
      const ends = points.map((point) => new three.Vector3().fromArray(point).multiplyScalar(MM));
      this.gap = new three.Line(
        new three.BufferGeometry().setFromPoints(ends),
        new three.LineBasicMaterial({ color: this.dark ? "#ffb86b" : "#a33b00", depthTest: false, linewidth: 3 }),
      );
      this.gap.renderOrder = 3;
      home.add(this.gap);
    }
    this.draw();
  }

  look(from: "corner" | "front" | "right" | "above" | "near"): void {
    const at = {
      corner: [-0.9, 0.5],
      front: [-Math.PI / 2, 0],
      right: [0, 0],
      above: [-Math.PI / 2, Math.PI / 2 - 0.001],
    } as const;
    if (from === "near") this.far = 0.9 * this.reach;
    else {
      [this.turn, this.lift] = at[from];
      this.far = 2.1 * this.reach;
    }
    // The table carries its frame along.
    const table = this.links.get("table")?.group;
    this.target.copy(this.middle);
    if (table) {
      table.updateWorldMatrix(true, false);
      this.target.applyMatrix4(table.matrixWorld);
    }
    this.draw();
  }

  private listen(canvas: HTMLCanvasElement): void {
    const held = new Map<number, [number, number]>();
    const spread = (): number => {
      const [a, b] = [...held.values()];
      return a && b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : 0;
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      held.set(event.pointerId, [event.clientX, event.clientY]);
    });
    const drop = (event: PointerEvent): void => void held.delete(event.pointerId);
    canvas.addEventListener("pointerup", drop);
    canvas.addEventListener("pointercancel", drop);
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("pointermove", (event) => {
      const old = held.get(event.pointerId);
      if (!old) return;
      const before = spread();
      const dx = event.clientX - old[0];
      const dy = event.clientY - old[1];
      held.set(event.pointerId, [event.clientX, event.clientY]);
      if (held.size > 1) {
        this.shift(dx / held.size, dy / held.size);
        if (before > 0) this.nearer(before / Math.max(spread(), 1));
      } else if (event.shiftKey || event.buttons & 6) this.shift(dx, dy);
      else this.around(-0.008 * dx, 0.008 * dy);
    });
    canvas.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        this.nearer(Math.exp(0.0012 * event.deltaY));
      },
      { passive: false },
    );
    canvas.addEventListener("keydown", (event) => {
      const turns: Record<string, [number, number]> = {
        ArrowLeft: [0.12, 0],
        ArrowRight: [-0.12, 0],
        ArrowUp: [0, 0.12],
        ArrowDown: [0, -0.12],
      };
      const by = turns[event.key];
      if (by) this.around(...by);
      else if (event.key === "+" || event.key === "=") this.nearer(0.85);
      else if (event.key === "-") this.nearer(1.18);
      else return;
      event.preventDefault();
    });
  }

  private around(turn: number, lift: number): void {
    this.turn += turn;
    this.lift = Math.min(Math.max(this.lift + lift, -1.5), 1.569);
    this.moving();
  }

  private nearer(by: number): void {
    this.far = Math.min(Math.max(this.far * by, 0.05), 20);
    this.moving();
  }

  private shift(dx: number, dy: number): void {
    const size = (2 * this.far * Math.tan((this.camera.fov * Math.PI) / 360)) / Math.max(this.holder.clientHeight, 1);
    const right = new three.Vector3().setFromMatrixColumn(this.camera.matrixWorld, 0);
    const up = new three.Vector3().setFromMatrixColumn(this.camera.matrixWorld, 1);
    this.target.addScaledVector(right, -dx * size).addScaledVector(up, dy * size);
    this.moving();
  }

  /** While something moves the model with fewer triangles is shown. */
  private moving(): void {
    this.swap(false);
    clearTimeout(this.resting);
    this.resting = window.setTimeout(() => this.rest(), REST_MS);
    this.draw();
  }

  private rest(): void {
    this.swap(true);
    this.draw();
  }

  private swap(rest: boolean): void {
    const whole = rest && this.all.length > 0;
    for (const one of this.few) one.visible = !whole;
    for (const one of this.all) one.visible = whole;
    const points = !rest && this.slow ? COARSE * this.fine : this.fine;
    if (this.renderer.getPixelRatio() !== points) this.renderer.setPixelRatio(points);
  }

  /** Draw once more and wait for it, to know how long that takes in this browser. */
  private tried(): boolean {
    const gl = this.renderer.getContext();
    const begun = performance.now();
    this.renderer.render(this.world, this.camera);
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
    return performance.now() - begun > SLOW_MS;
  }

  private size(): void {
    const { clientWidth, clientHeight } = this.holder;
    if (clientWidth === 0 || clientHeight === 0) return;
    this.renderer.setSize(clientWidth, clientHeight);
    this.camera.aspect = clientWidth / clientHeight;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  draw(): void {
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => {
      this.wanted = false;
      const flat = Math.cos(this.lift);
      this.camera.position
        .set(Math.cos(this.turn) * flat, Math.sin(this.turn) * flat, Math.sin(this.lift))
        .multiplyScalar(this.far)
        .add(this.target);
      this.camera.near = Math.max(this.far - 4 * this.reach, 0.01);
      this.camera.far = this.far + 4 * this.reach;
      this.camera.updateProjectionMatrix();
      this.camera.lookAt(this.target);
      this.renderer.render(this.world, this.camera);
      if (this.slow === null && this.view) {
        this.tried(); // the first makes the programs of the graphics processor
        this.slow = this.tried();
      }
      this.placeLabels();
      if (this.posedAt) {
        this.drawnMs = performance.now() - this.posedAt;
        this.posedAt = 0;
      }
      this.onDrawn?.();
    });
  }

  private placeLabels(): void {
    const at = new three.Vector3();
    for (const { at: post, element } of this.labels) {
      post.getWorldPosition(at).project(this.camera);
      const seen = at.z < 1 && Math.abs(at.x) < 1.05 && Math.abs(at.y) < 1.05;
      element.hidden = !seen;
      const x = ((at.x + 1) / 2) * this.holder.clientWidth;
      const y = ((1 - at.y) / 2) * this.holder.clientHeight;
      element.style.transform = `translate(-50%, -50%) translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    }
  }
}
