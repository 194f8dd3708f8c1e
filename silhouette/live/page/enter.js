// The key stands behind the # of the address, so it is never sent by itself; it is exchanged for a cookie, once.
(async () => {
  const told = document.getElementById("told"), key = location.hash.slice(1);
  const fail = () => { told.textContent = "Open the address that the program printed, the whole of it."; };
  if (!key) return fail();
  const answer = await fetch("/enter", { method: "POST", body: key });
  if (!answer.ok) return fail();
  history.replaceState(null, "", location.pathname + location.search);
  location.replace(location.pathname + location.search);
})();
