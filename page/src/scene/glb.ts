// The model of the cell: nodes with triangles in metres (binary glTF 2.0, positions alone).
export interface Part {
  name: string;
  body: string;
  role: string;
  link: string;
  corners: Float32Array;
}

interface Tree {
  nodes: { name: string; mesh?: number; extras: { body: string; role: string; link: string } }[];
  meshes?: { primitives: { attributes: { POSITION: number } }[] }[];
  accessors?: { bufferView: number; count: number }[];
  bufferViews?: { byteOffset?: number; byteLength: number }[];
}

const MAGIC = 0x46546c67;

export function readModel(data: ArrayBuffer): Part[] {
  const view = new DataView(data);
  if (view.byteLength < 20 || view.getUint32(0, true) !== MAGIC) throw new Error("no model");
  const size = view.getUint32(12, true);
  const tree = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 20, size))) as Tree;
  const start = 20 + size + 8;
  return tree.nodes.map((node) => {
    const mesh = node.mesh === undefined ? undefined : tree.meshes?.[node.mesh];
    const accessor = mesh ? tree.accessors?.[mesh.primitives[0]!.attributes.POSITION] : undefined;
    const piece = accessor ? tree.bufferViews?.[accessor.bufferView] : undefined;
    const corners =
      accessor && piece
        ? new Float32Array(data.slice(start + (piece.byteOffset ?? 0), start + (piece.byteOffset ?? 0) + accessor.count * 12))
        : new Float32Array();
    return { name: node.name, ...node.extras, corners };
  });
}
