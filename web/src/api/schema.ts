// Names for the generated types.

import type { components } from "./types";

type Schemas = components["schemas"];

export type Overview = Schemas["Overview"];
export type FilmPerson = Schemas["FilmPerson"];
export type OverviewShot = Schemas["OverviewShot"];
export type PersonPoint = Schemas["PersonPoint"];
export type Point = Schemas["Point"];
export type ShotView = Schemas["ShotView"];
export type ShotReport = Schemas["ShotReport"];
export type PersonReport = Schemas["PersonReport"];
export type ReadingReport = Schemas["ReadingReport"];
export type FixReport = Schemas["FixReport"];
export type ReachReport = Schemas["ReachReport"];
export type CostReport = Schemas["CostReport"];
export type PatchView = Schemas["PatchView"];
export type OutlineShape = Schemas["OutlineShape"];
export type PersonSeries = Schemas["PersonSeries"];
export type Series = Schemas["Series"];
export type SkinPixels = Schemas["SkinPixels"];
export type ShotState = Schemas["ShotState"];
export type FilmState = Schemas["FilmState"];
export type JobView = Schemas["JobView"];
export type ShotLimits = Schemas["ShotLimits"];
export type LimitsReport = Schemas["LimitsReport"];
export type Delivered = Schemas["Delivered"];
export type Tried = Schemas["Tried"];
export type AimTried = Schemas["AimTried"];
export type AimTriedShot = Schemas["AimTriedShot"];
export type OtherMoved = Schemas["OtherMoved"];
export type CdlReport = Schemas["CdlReport"];
export type Numbers = Schemas["Numbers"];
export type KeyNumbers = Schemas["KeyNumbers"];
export type FixChoice = Schemas["FixChoice"];
export type PeopleOrder = Schemas["PeopleOrder"];
export type FaceView = Schemas["FaceView"];
export type WorkOrder = Schemas["WorkOrder"];
export type ReportData = Schemas["ReportData"];
export type ReportShot = Schemas["ReportShot"];
