"use strict";
(function () {
  var shelf = document.getElementById("shelf");
  var find = document.getElementById("find");
  var order = document.getElementById("order");
  var told = document.getElementById("told");
  var items = Array.prototype.slice.call(shelf.children);
  function key(item, name) {
    var value = item.getAttribute("data-" + name);
    return value === "" ? null : name === "name" ? value : Number(value);
  }
  function show() {
    var words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
    var name = order.value;
    var shown = 0;
    items.sort(function (a, b) {
      var x = key(a, name), y = key(b, name);
      // What has no figure comes last.
      if (x === null || y === null) { return x === y ? 0 : x === null ? 1 : -1; }
      return x < y ? -1 : x > y ? 1 : 0;
    });
    items.forEach(function (item) {
      var text = item.textContent.toLowerCase();
      var fits = words.every(function (w) { return text.indexOf(w) >= 0; });
      item.hidden = !fits;
      shown += fits ? 1 : 0;
      shelf.appendChild(item);
    });
    told.textContent = shown + " of " + items.length + " shown";
  }
  document.getElementById("tools").hidden = false;
  find.addEventListener("input", show);
  order.addEventListener("change", show);
  show();
})();
