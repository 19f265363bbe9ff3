// Two figures are what these numbers can bear, and four decimals; never an exponent.
export function digits(value) {
  if (!(value > 0)) return "0";
  if (value < 0.00005) return "< 0.0001";
  const places = Math.min(4, Math.max(0, 1 - Math.floor(Math.log10(value))));
  return value.toFixed(places);
}

// Minutes on a clock: tenths only while they matter.
export const minutes = (value) => (value < 10 ? value.toFixed(1) : Math.round(value).toString());
