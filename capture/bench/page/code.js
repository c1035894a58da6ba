// Lets the client in with which the page is shared. The QR code has the code behind #, which no browser sends anywhere.
const $ = (id) => document.getElementById(id);

async function say(code) {
  $("said").textContent = "Asking the bench";
  try {
    const response = await fetch("/api/code", { method: "POST", body: new URLSearchParams({ code }) });
    if (response.ok) return location.replace("/");
    const { what, mend } = await response.json();
    $("said").textContent = `${what}: ${mend}`;
  } catch {
    $("said").textContent = "The bench does not answer: see that bindhue bench is still running.";
  }
  $("code").focus();
}

$("form").addEventListener("submit", (event) => {
  event.preventDefault();
  if ($("code").value.trim() !== "") say($("code").value);
});

const given = location.hash.slice(1);
if (given !== "") {
  history.replaceState(null, "", "/"); // it stays in no list of pages
  say(given);
}
