// The frames of a run come as one block of numbers, a row a frame (state.py, packed). This takes it
// apart: a column for each quantity, and rows of depths for the two profiles.

// places: the names that shares are given for, in order. count: depths in a profile.
export function unpack(block, places, count) {
  // the charting library's own kind of array cannot be cut
  const numbers = new Float32Array(block.buffer, block.byteOffset, block.length);
  const names = ["minutes", "water", "residual", ...places.map((name) => `in_${name}`)];
  const width = names.length + 2 * count;
  const frames = numbers.length / width;
  const found = {};
  names.forEach((name, column) => {
    found[name] = Float32Array.from({ length: frames }, (_, i) => numbers[i * width + column]);
  });
  for (const [name, start] of [["mobile", names.length], ["held", names.length + count]]) {
    found[name] = new Float32Array(frames * count);
    for (let i = 0; i < frames; i++) {
      found[name].set(numbers.subarray(i * width + start, i * width + start + count), i * count);
    }
  }
  return found;
}
