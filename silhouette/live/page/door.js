// On every page: the way to the phone's door, and whether it stands open. A page adds this script and nothing else.

const LOOK_EVERY = 5000;
const nav = document.querySelector("nav[aria-label=Pages]"), link = document.createElement("a"), said = document.createElement("span");
const far = location.protocol === "https:";            // this page was opened through that door, on the phone

link.href = "/phone";
link.id = "door";
link.textContent = far ? "This phone: connected" : "Phone";
said.className = "apart";
said.setAttribute("role", "status");
if (location.pathname === "/phone") link.setAttribute("aria-current", "page");
nav?.append(" ", link, said);

async function look() {
  if (document.visibilityState === "visible") {
    let words = "Phone";
    try {
      const answer = await fetch("/api/phone"), door = answer.ok ? await answer.json() : {};
      if (door.on) words = door.paired ? "Phone: paired" : "Phone: door open";
    } catch { /* the page itself says that the program does not answer */ }
    if (link.textContent !== words) {
      link.textContent = words;
      said.textContent = { "Phone": "The door for a phone is shut.", "Phone: paired": "A phone is paired." }[words] || "The door for a phone is open.";
    }
  }
  setTimeout(look, LOOK_EVERY);
}

if (nav && !far) look();
