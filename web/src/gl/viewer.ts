// The picture on the screen, drawn by WebGL2: the signal of a frame, taken through a table as receivers of it do
// (tetrahedrally), and shown as a BT.1886 display would. Before and after side by side at a divider.

import { type Table, WIDE } from "../lib/cdl";
import type { Gain } from "../lib/light";

/** A frame's signal. */
export type Source =
  /** Ten bits each of R', G', B' from the lowest, over {@link WIDE}. */
  | { kind: "signal"; width: number; height: number; codes: Uint32Array }
  /** Eight bits each, 0–1. */
  | { kind: "bitmap"; width: number; height: number; bitmap: ImageBitmap };

const VERTEX = `#version 300 es
out vec2 at;
void main() {
  vec2 corner = vec2(gl_VertexID & 1, gl_VertexID >> 1);
  at = vec2(corner.x, 1.0 - corner.y);
  gl_Position = vec4(corner * 2.0 - 1.0, 0.0, 1.0);
}`;

const FRAGMENT = `#version 300 es
precision highp float;
precision highp sampler2D;
precision highp sampler3D;
in vec2 at;
out vec4 color;
uniform sampler2D source;
uniform vec2 range;
uniform sampler3D nodes;
uniform int size;
uniform vec2 wide;
// The look, over before and after alike.
uniform sampler3D look;
uniform int lookSize;
uniform vec2 lookWide;
// What a fix that follows the light does to this frame, before its table.
uniform vec3 gain;
uniform float divider;

vec3 through(sampler3D nodes, int size, vec2 wide, vec3 v) {
  float last = float(size - 1);
  vec3 place = clamp((v - wide.x) / (wide.y - wide.x) * last, 0.0, last);
  ivec3 low = min(ivec3(place), ivec3(size - 2));
  vec3 f = place - vec3(low);
  // Along the edges in the order of the fractions, the largest first.
  ivec3 first;
  ivec3 second;
  vec3 w;
  if (f.r >= f.g) {
    if (f.g >= f.b) { first = ivec3(1, 0, 0); second = ivec3(1, 1, 0); w = f.rgb; }
    else if (f.r >= f.b) { first = ivec3(1, 0, 0); second = ivec3(1, 0, 1); w = f.rbg; }
    else { first = ivec3(0, 0, 1); second = ivec3(1, 0, 1); w = f.brg; }
  } else {
    if (f.b >= f.g) { first = ivec3(0, 0, 1); second = ivec3(0, 1, 1); w = f.bgr; }
    else if (f.b >= f.r) { first = ivec3(0, 1, 0); second = ivec3(0, 1, 1); w = f.gbr; }
    else { first = ivec3(0, 1, 0); second = ivec3(1, 1, 0); w = f.grb; }
  }
  return (1.0 - w.x) * texelFetch(nodes, low, 0).rgb + (w.x - w.y) * texelFetch(nodes, low + first, 0).rgb
    + (w.y - w.z) * texelFetch(nodes, low + second, 0).rgb + w.z * texelFetch(nodes, low + ivec3(1), 0).rgb;
}

vec3 screen(vec3 signal) {
  vec3 light = pow(clamp(signal, 0.0, 1.0), vec3(2.4));
  vec3 low = 12.92 * light;
  vec3 high = 1.055 * pow(light, vec3(1.0 / 2.4)) - 0.055;
  return mix(high, low, vec3(lessThanEqual(light, vec3(0.0031308))));
}

void main() {
  vec3 v = range.x + texture(source, at).rgb * (range.y - range.x);
  if (at.x >= divider) {
    v *= gain;
    if (size > 0) v = through(nodes, size, wide, v);
  }
  if (lookSize > 0) v = through(look, lookSize, lookWide, v);
  color = vec4(screen(v), 1.0);
}`;

/** What is drawn of a frame. */
export interface Shown {
  /** What after is taken through, once it was taken times `gain`; null leaves the picture as it is. */
  table: Table | null;
  gain: Gain;
  /** What before and after are seen through; null where there is no look. */
  look: Table | null;
  /** What is left of it (0–1) is before. */
  divider: number;
}

export class Viewer {
  readonly #gl: WebGL2RenderingContext;
  readonly #program: WebGLProgram;
  readonly #source: WebGLTexture;
  readonly #nodes: WebGLTexture;
  readonly #look: WebGLTexture;
  // What lies on the graphics card: a table goes there once, not with every move of the divider.
  #table: Table | null | undefined;
  #over: Table | null | undefined;
  #range: [number, number] = [0, 1];
  #has = false;

  constructor(readonly canvas: HTMLCanvasElement) {
    const gl = canvas.getContext("webgl2", { antialias: false, alpha: false, preserveDrawingBuffer: true });
    if (!gl) throw new Error("this browser has no WebGL 2; the picture is shown as a still instead");
    this.#gl = gl;
    this.#program = program(gl);
    this.#source = gl.createTexture();
    this.#nodes = gl.createTexture();
    this.#look = gl.createTexture();
    gl.useProgram(this.#program);
    gl.uniform1i(this.#at("source"), 0);
    gl.uniform1i(this.#at("nodes"), 1);
    gl.uniform1i(this.#at("look"), 2);
    gl.bindVertexArray(gl.createVertexArray());
  }

  #at(name: string): WebGLUniformLocation | null {
    return this.#gl.getUniformLocation(this.#program, name);
  }

  /** The frame that is shown from now on. */
  source(source: Source): void {
    const gl = this.#gl;
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, this.#source);
    for (const [name, value] of [
      [gl.TEXTURE_MIN_FILTER, gl.LINEAR],
      [gl.TEXTURE_MAG_FILTER, gl.LINEAR],
      [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE],
      [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE],
    ] as const) {
      gl.texParameteri(gl.TEXTURE_2D, name, value);
    }
    if (source.kind === "signal") {
      const kind = gl.UNSIGNED_INT_2_10_10_10_REV;
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB10_A2, source.width, source.height, 0, gl.RGBA, kind, source.codes);
      this.#range = [WIDE.min, WIDE.max];
    } else {
      gl.pixelStorei(gl.UNPACK_COLORSPACE_CONVERSION_WEBGL, gl.NONE);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, gl.RGBA, gl.UNSIGNED_BYTE, source.bitmap);
      this.#range = [0, 1];
    }
    if (this.canvas.width !== source.width || this.canvas.height !== source.height) {
      this.canvas.width = source.width;
      this.canvas.height = source.height;
    }
    this.#has = true;
  }

  #load(unit: number, texture: WebGLTexture, table: Table | null): void {
    const gl = this.#gl;
    gl.activeTexture(unit);
    gl.bindTexture(gl.TEXTURE_3D, texture);
    const size = table?.size ?? 0;
    const side = Math.max(size, 1);
    const values = new Float32Array(4 * side ** 3);
    if (table) {
      for (let from = 0, to = 0; from < table.values.length; from += 3, to += 4) {
        values[to] = table.values[from]!;
        values[to + 1] = table.values[from + 1]!;
        values[to + 2] = table.values[from + 2]!;
      }
    }
    for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) {
      gl.texParameteri(gl.TEXTURE_3D, name, gl.NEAREST);
    }
    gl.texImage3D(gl.TEXTURE_3D, 0, gl.RGBA32F, side, side, side, 0, gl.RGBA, gl.FLOAT, values);
  }

  draw({ table, look, gain, divider }: Shown): void {
    if (!this.#has) return;
    const gl = this.#gl;
    if (table !== this.#table) this.#load(gl.TEXTURE1, this.#nodes, table);
    if (look !== this.#over) this.#load(gl.TEXTURE2, this.#look, look);
    [this.#table, this.#over] = [table, look];
    const [range, rangeOver] = [table?.range ?? WIDE, look?.range ?? WIDE];
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.useProgram(this.#program);
    gl.uniform2f(this.#at("range"), ...this.#range);
    gl.uniform1i(this.#at("size"), table?.size ?? 0);
    gl.uniform2f(this.#at("wide"), range.min, range.max);
    gl.uniform1i(this.#at("lookSize"), look?.size ?? 0);
    gl.uniform2f(this.#at("lookWide"), rangeOver.min, rangeOver.max);
    gl.uniform3f(this.#at("gain"), ...gain);
    gl.uniform1f(this.#at("divider"), divider);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }

  /** What was drawn, top row first: R, G, B, A of eight bits. */
  pixels(): Uint8Array {
    const gl = this.#gl;
    const { width, height } = this.canvas;
    const upside = new Uint8Array(4 * width * height);
    gl.readPixels(0, 0, width, height, gl.RGBA, gl.UNSIGNED_BYTE, upside);
    const pixels = new Uint8Array(upside.length);
    for (let row = 0; row < height; row += 1) {
      const from = 4 * width * (height - 1 - row);
      pixels.set(upside.subarray(from, from + 4 * width), 4 * width * row);
    }
    return pixels;
  }

  destroy(): void {
    this.#gl.getExtension("WEBGL_lose_context")?.loseContext();
  }
}

function program(gl: WebGL2RenderingContext): WebGLProgram {
  const made = gl.createProgram();
  for (const [kind, text] of [
    [gl.VERTEX_SHADER, VERTEX],
    [gl.FRAGMENT_SHADER, FRAGMENT],
  ] as const) {
    const shader = gl.createShader(kind);
    if (!shader) throw new Error("the graphics card does not answer; load the page again");
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader) ?? "a shader");
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made) ?? "a program");
  return made;
}
