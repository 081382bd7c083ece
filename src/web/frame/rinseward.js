// Keeps a page live: replaces each part that the server sends anew, and says when none comes any more, and why.
"use strict";
(() => {
  const place = document.querySelector("[data-live]");
  if (!place) return;
  // The server says something at least every five seconds; that it does not any more is said within fifteen, of
  // which the clock below takes up to one.
  const SILENT_MS = 14000;
  const AGAIN_MS = 30000;
  // The answer to what somebody pressed is waited for so long.
  const PRESSED_MS = 30000;
  const notice = document.querySelector(".unconnected");
  // A page on which somebody may be typing is never loaded anew by itself.
  const keeps = "keep" in place.dataset;
  // Nor where there is something to type or to choose.
  const typed = () => document.querySelector("main :is(input:not([type=hidden]), select, textarea)");
  const made = document.querySelectorAll("[data-made]");
  const spoken = document.querySelector("[data-spoken]");
  let heard = Date.now();
  let left = false;
  // Whether what is sent is for somebody who reads otherwise than this page does.
  let other = false;
  let pressed = -Infinity;
  let source;
  let again;
  const say = (why) => {
    const text = why === "other" ? notice.dataset.other : notice.dataset[why] + " " + notice.dataset.heard;
    if (notice.textContent !== text) notice.textContent = text;
    notice.hidden = false;
  };
  // A page loaded anew would take the place of the page that somebody has just asked for.
  const anew = () => {
    const wait = pressed + PRESSED_MS - Date.now();
    if (wait > 0) setTimeout(anew, wait);
    else location.reload();
  };
  const alive = () => {
    heard = Date.now();
    if (other) say("other");
    else notice.hidden = true;
  };
  const count = (event) => {
    alive();
    const count = document.querySelector(".count");
    const title = document.title.replace(/^\(\d+\) /, "");
    count.firstChild.data = event.data;
    count.hidden = event.data === "0";
    document.title = count.hidden ? title : `(${event.data}) ${title}`;
  };
  const part = (event) => {
    alive();
    if (other) return;
    const parsed = new DOMParser().parseFromString(event.data, "text/html").body.firstElementChild;
    const old = parsed && document.getElementById(parsed.id);
    if (!old && keeps) return;
    if (!old) {
      // Another machine than the page was made with.
      anew();
      return;
    }
    const focused = old.contains(document.activeElement) && document.activeElement.getAttribute("href");
    if (spoken && parsed.dataset.say && parsed.dataset.say !== old.dataset.say) {
      spoken.textContent = parsed.dataset.say;
    }
    const unfolded = old.querySelector("details[open]") && parsed.querySelector("details");
    if (unfolded) unfolded.open = true;
    old.replaceWith(parsed);
    if (focused) {
      const link = [...parsed.querySelectorAll("a")].find((one) => one.getAttribute("href") === focused);
      if (link) link.focus();
    }
  };
  // A stream that is refused says nothing of why to a page, so that it is asked for once more without its body.
  const refused = async () => {
    let wait = AGAIN_MS;
    try {
      const { status, headers } = await fetch(place.dataset.live, { method: "HEAD" });
      if (status === 401 && !keeps) anew();
      if (status === 429 || status === 503) {
        heard = Infinity;
        say("full");
        wait = 1000 * headers.get("retry-after") || AGAIN_MS;
      } else if (status === 200) wait = 1000;
    } catch {
      // No connection: the clock below says so.
      heard = Math.min(heard, Date.now());
    }
    clearTimeout(again);
    again = setTimeout(open, wait);
  };
  const open = () => {
    // One stream at a time, whoever asks for it first.
    clearTimeout(again);
    if (source) source.close();
    if (left) return;
    source = new EventSource(place.dataset.live);
    source.addEventListener("alive", (event) => {
      alive();
      if (other) return;
      notice.dataset.heard = event.data;
      // What stands beside the live parts stays of when it was made.
      if ("whole" in place.dataset) for (const one of made) one.textContent = event.data;
    });
    // Made for somebody who reads in another language, or on another scale, by now: none of it is put in place here.
    source.addEventListener("reader", (event) => {
      other = event.data !== document.documentElement.dataset.reader;
      if (other && !keeps && !typed()) anew();
      else alive();
    });
    source.addEventListener("count", count);
    source.addEventListener("part", part);
    // Logged out, or the account ended: the page asks again and is sent to the login.
    source.addEventListener("end", () => {
      if (!keeps) anew();
    });
    source.addEventListener("error", () => {
      if (source.readyState === EventSource.CLOSED && !left) refused();
    });
  };
  open();
  addEventListener("submit", () => {
    pressed = Date.now();
  });
  addEventListener("click", (event) => {
    if (event.target.closest("a[href]")) pressed = Date.now();
  });
  // A page that is left is kept for the way back, its stream too, and a browser has few connections for one site.
  addEventListener("pagehide", () => {
    left = true;
    source.close();
  });
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    if (keeps) {
      left = false;
      open();
    } else location.reload();
  });
  setInterval(() => {
    if (Date.now() - heard >= SILENT_MS) say("lost");
  }, 1000);
})();
