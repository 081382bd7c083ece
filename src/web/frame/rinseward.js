// Keeps a page live: replaces each part that the server sends anew, and says when none comes any more.
"use strict";
(() => {
  const place = document.querySelector("[data-live]");
  if (!place) return;
  // The server says something at least every five seconds.
  const SILENT_MS = 15000;
  const notice = document.querySelector(".unconnected");
  const spoken = document.querySelector("[data-spoken]");
  let heard = new Date();
  const alive = () => {
    heard = new Date();
    notice.hidden = true;
  };
  const source = new EventSource(place.dataset.live);
  source.addEventListener("alive", alive);
  source.addEventListener("count", (event) => {
    alive();
    const count = document.querySelector(".count");
    const title = document.title.replace(/^\(\d+\) /, "");
    count.firstChild.data = event.data;
    count.hidden = event.data === "0";
    document.title = count.hidden ? title : `(${event.data}) ${title}`;
  });
  source.addEventListener("part", (event) => {
    alive();
    const parsed = new DOMParser().parseFromString(event.data, "text/html").body.firstElementChild;
    const old = parsed && document.getElementById(parsed.id);
    if (!old) {
      // Another machine than the page was made with.
      location.reload();
      return;
    }
    const focused = old.contains(document.activeElement) && document.activeElement.getAttribute("href");
    if (spoken && parsed.dataset.say && parsed.dataset.say !== old.dataset.say) {
      spoken.textContent = parsed.dataset.say;
    }
    old.replaceWith(parsed);
    if (focused) {
      const again = [...parsed.querySelectorAll("a")].find((link) => link.getAttribute("href") === focused);
      if (again) again.focus();
    }
  });
  // A page that is left is kept for the way back, its stream too, and a browser has few connections for one site.
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (event) => {
    if (event.persisted) location.reload();
  });
  // Logged out, or the account ended: the page asks again and is sent to the login.
  source.addEventListener("end", () => location.reload());
  setInterval(() => {
    if (new Date() - heard < SILENT_MS) return;
    notice.textContent = notice.dataset.text + " " + heard.toLocaleTimeString();
    notice.hidden = false;
  }, 1000);
})();
