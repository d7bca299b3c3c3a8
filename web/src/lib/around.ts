// What a fix does before and after one of its operations: for the picture while that one is moved by hand.

import { api } from "../api/client";
import type { ShotView } from "../api/schema";
import type { Table } from "./cdl";

export interface Around {
  /** Over TWICE, as the rest; null where nothing is done. */
  before: Table | null;
  rest: Table | null;
}

let known: { of: ShotView; tables: Map<string, Promise<Table | null>> } | null = null;

function part(of: ShotView, from: number, to?: number): Promise<Table | null> {
  if (known?.of !== of) known = { of, tables: new Map() };
  const { tables } = known;
  const name = `${from} ${to ?? ""}`;
  const found = tables.get(name) ?? (from === to ? Promise.resolve(null) : api.tableOfPart(of.id, from, to));
  tables.set(name, found);
  found.catch(() => tables.delete(name));
  return found;
}

/** Around the operation at a place of the fix; asked for once for every fix. At −1: all of it follows. */
export async function around(of: ShotView, at: number): Promise<Around> {
  const [before, rest] = await Promise.all([part(of, 0, Math.max(at, 0)), part(of, at + 1)]);
  return { before, rest };
}
