// What is said to those who do not see the page: one line, at most once a second, the newest.

let last = 0, timer = 0, next = "";

export function say(text) {
  next = text;
  if (timer) return;
  timer = setTimeout(() => {
    timer = 0;
    last = performance.now();
    document.getElementById("said").textContent = next;
  }, Math.max(0, 1000 - (performance.now() - last)));
}
