// A stopwatch for somebody who looks at the engine: one big button, also the space bar, big seconds.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";

export const running = signal<string>(""); // which timer runs; "": none
export const begun = signal(0); // ms of performance.now
export const seconds = signal<number | null>(null); // of the timer on the screen

let frame = 0;

function tick() {
  seconds.value = (performance.now() - begun.value) / 1000;
  if (running.value) frame = requestAnimationFrame(tick);
}

export function clear() {
  cancelAnimationFrame(frame);
  running.value = "";
  seconds.value = null;
}

// The moment counts at which it was touched, not when the browser came to it.
function press(which: string, at: number, stopped: (seconds: number) => void, started: () => void) {
  if (running.value === which) {
    cancelAnimationFrame(frame);
    running.value = "";
    seconds.value = Math.max(0, (at - begun.value) / 1000);
    stopped(seconds.value);
  } else {
    begun.value = at;
    running.value = which;
    started();
    tick();
  }
}

// Space belongs to the timer unless somebody types or is on another thing that it works.
function isForTimer(target: EventTarget | null): boolean {
  const at = target instanceof Element ? target.closest("input, select, textarea, summary, a, button") : null;
  return !at || at.classList.contains("timer-button");
}

interface TimerProps {
  which: string;
  start: string; // what to press it for
  stop: string;
  limit: number | null; // s
  limitText: string;
  stopped: (seconds: number) => void;
  started?: () => void;
}

export function Timer({ which, start, stop, limit, limitText, stopped, started }: TimerProps) {
  const runs = running.value === which;
  const go = (at: number) => press(which, at, stopped, started ?? (() => undefined));
  useEffect(() => {
    const key = (event: KeyboardEvent) => {
      if (event.key !== " " || !isForTimer(event.target)) return;
      event.preventDefault();
      if (event.type === "keydown" && !event.repeat) go(event.timeStamp);
    };
    addEventListener("keydown", key);
    addEventListener("keyup", key); // else some browsers press the button as well
    return () => {
      removeEventListener("keydown", key);
      removeEventListener("keyup", key);
    };
  });
  const s = seconds.value;
  const share = limit && s !== null ? Math.min(1, s / (limit * 1.5)) : 0;
  const over = limit !== null && s !== null && s > limit;
  return (
    <div class="timer">
      <p class="timer-seconds" aria-live="off">
        {s === null ? "0.0" : s.toFixed(1)} <small>s</small>
      </p>
      <button
        type="button"
        class={`main timer-button${runs ? " runs" : ""}`}
        onPointerDown={(event) => {
          if (event.button !== 0) return;
          go(event.timeStamp);
        }}
        onClick={(event) => event.detail === 0 && go(event.timeStamp)}
      >
        {runs ? "Stop" : "Start"}
        <small>{runs ? stop : start}</small>
      </button>
      {limit !== null && (
        <svg class="timer-bar" viewBox="0 0 300 14" preserveAspectRatio="none" aria-hidden="true">
          <rect width="300" height="14" fill="var(--line)" />
          <rect width={(300 * share).toFixed(1)} height="14" fill={over ? "var(--bad)" : "var(--good)"} />
          <path d="M200 0V14" stroke="var(--ink)" stroke-width="3" />
        </svg>
      )}
      <p>{limitText}</p>
      <p class="faint">The space bar does the same.</p>
    </div>
  );
}
