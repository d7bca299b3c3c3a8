// White and grey only, so that the one colour on the screen is the picture's.

export interface Inks {
  paper: string;
  ink: string;
  quiet: string;
  faint: string;
  band: string;
  selected: string;
}

export const SCREEN: Inks = {
  paper: "#2e2e2e",
  ink: "#f2f2f2",
  quiet: "#b4b4b4",
  faint: "#5a5a5a",
  band: "#474747",
  selected: "#3c3c3c",
};

export const PAPER: Inks = {
  paper: "#ffffff",
  ink: "#111111",
  quiet: "#555555",
  faint: "#b8b8b8",
  band: "#dcdcdc",
  selected: "#eeeeee",
};
