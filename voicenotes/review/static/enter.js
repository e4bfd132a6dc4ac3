"use strict";
// Changes the token behind the # of the address for a cookie that no script can read.
const token = location.hash.slice(1);
history.replaceState(null, "", "/enter");
const line = document.getElementById("line");
fetch("/enter", { method: "POST", body: token, headers: { "content-type": "text/plain" } }).then(
  (answer) => {
    if (answer.ok) location.replace("/");
    else line.textContent = "This address is not the one of this run. Open the one that voicenotes review printed.";
  },
  () => { line.textContent = "The review has ended. Start it again with voicenotes review."; },
);
