// Frames as they come from the program: one in full for looking, many small ones for playing.

import { api } from "../api/client";
import type { Source } from "../gl/viewer";

/** A frame's signal: columns and rows, four bytes each, then four bytes a pixel. */
export function signalFromBytes(bytes: ArrayBuffer): Source {
  const head = new DataView(bytes);
  const [width, height] = [head.getUint32(0, true), head.getUint32(4, true)];
  const codes = new Uint32Array(bytes, 8);
  if (codes.length !== width * height) throw new Error(`${codes.length} pixels came, expected ${width} × ${height}`);
  return { kind: "signal", width, height, codes };
}

/** Frames for playing: their number, the length of each, then the frames. */
export function framesFromBytes(bytes: ArrayBuffer): Blob[] {
  const head = new DataView(bytes);
  const count = head.getUint32(0, true);
  let at = 4 * (count + 1);
  const frames: Blob[] = [];
  for (let index = 0; index < count; index += 1) {
    const length = head.getUint32(4 * (index + 1), true);
    frames.push(new Blob([new Uint8Array(bytes, at, length)], { type: "image/jpeg" }));
    at += length;
  }
  if (at !== bytes.byteLength) throw new Error(`${bytes.byteLength} bytes of frames came, expected ${at}`);
  return frames;
}

/** Frames in a piece. */
const PIECE = 48;

/** The small frames of one shot, fetched a piece ahead of where it plays. */
export class Proxy {
  #pieces = new Map<number, Promise<Blob[]>>();
  #stop = new AbortController();

  constructor(
    readonly shot: number,
    readonly first: number,
    readonly end: number,
    readonly width: number,
  ) {}

  #piece(index: number): Promise<Blob[]> {
    const from = this.first + index * PIECE;
    let piece = this.#pieces.get(index);
    if (!piece) {
      const count = Math.min(PIECE, this.end - from);
      piece = api.proxy(this.shot, from, count, this.width, this.#stop.signal).then(framesFromBytes);
      piece.catch(() => this.#pieces.delete(index));
      this.#pieces.set(index, piece);
    }
    return piece;
  }

  /** One frame, decoded. */
  async frame(frame: number): Promise<Source> {
    const index = Math.floor((frame - this.first) / PIECE);
    const piece = await this.#piece(index);
    if (this.first + (index + 1) * PIECE < this.end) void this.#piece(index + 1).catch(() => {});
    const blob = piece[frame - this.first - index * PIECE] ?? piece[piece.length - 1];
    if (!blob) throw new Error("no frame came");
    const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none", premultiplyAlpha: "none" });
    return { kind: "bitmap", width: bitmap.width, height: bitmap.height, bitmap };
  }

  close(): void {
    this.#stop.abort();
  }
}
