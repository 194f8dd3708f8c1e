// On every page: the way to the phone's door, and whether it stands open. A page adds this script and nothing else.

const LOOK_EVERY = 5000;
const nav = document.querySelector("nav[aria-label=Pages]"), link = document.createElement("a"), told = document.createElement("span");
const far = location.protocol === "https:";            // this page was opened through that door, on the phone

link.href = "/phone";
link.id = "door";
link.textContent = far ? "This phone" : "Phone";
told.setAttribute("role", "status");
if (location.pathname === "/phone") link.setAttribute("aria-current", "page");
nav?.append(" ", link, told);

async function look() {
  if (document.visibilityState === "visible") {
    let words = "";
    try {
      const answer = await fetch("/api/phone");
      const door = answer.ok ? await answer.json() : {};
      words = door.on ? door.paired ? ": paired, its door is open" : ": its door is open" : "";
    } catch { /* the page itself says that the program does not answer */ }
    if (told.textContent !== words) told.textContent = words;
  }
  setTimeout(look, LOOK_EVERY);
}

if (far) told.textContent = ": connected to the computer";
else if (nav) look();
