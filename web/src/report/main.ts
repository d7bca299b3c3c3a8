import { mount } from "svelte";
import type { ReportData } from "../api/schema";
import Report from "./Report.svelte";
import "./report.css";

const target = document.getElementById("report");
const data = document.getElementById("data")?.textContent;
if (target && data) mount(Report, { target, props: { data: JSON.parse(data) as ReportData } });
