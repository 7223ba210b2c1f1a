(function () {
  "use strict";
  var figures = JSON.parse(document.getElementById("figures").textContent);
  var times = figures.t;
  if (times.length === 0) { return; }
  var bar = document.getElementById("cursor");
  var slider = document.getElementById("moment");
  var names = Array.prototype.map.call(document.querySelectorAll("#steps tbody th"), function (cell) { return cell.textContent; });
  var charts = Array.prototype.slice.call(document.querySelectorAll("svg.chart"));
  var lines = charts.map(function (chart) {
    var line = document.createElementNS(chart.namespaceURI, "line");
    line.setAttribute("class", "cursor");
    line.setAttribute("y1", chart.dataset.top);
    line.setAttribute("y2", chart.dataset.bottom);
    chart.appendChild(line);
    return line;
  });
  function figure(value) { return value === null || value === undefined ? "–" : value.toFixed(1).replace("-", "−"); }
  function stepAt(t) {
    var found = 0;
    figures.steps.forEach(function (start, index) { if (t >= start) { found = index; } });
    return figures.steps.length ? (found + 1) + " " + (names[found] || "") : "";
  }
  function clock(t) {
    var minutes = Math.floor(t / 60);
    var rest = minutes % 60;
    return Math.floor(minutes / 60) + ":" + (rest > 9 ? rest : "0" + rest);
  }
  function vessel(key, i) {
    var duty = figures[key + "_duty"];
    var parts = [figure(figures[key][i])];
    if (figures[key + "_set"][i] !== null) { parts.push("set " + figure(figures[key + "_set"][i])); }
    if (duty) { if (duty[i] > 0) { parts.push(duty[i] + " %"); } }
    return parts.join(" · ");
  }
  function show(t) {
    var i = 0;
    while (times.length > i + 1) { if (times[i + 1] > t) { break; } i += 1; }
    charts.forEach(function (chart, index) {
      var left = Number(chart.dataset.left);
      var x = left + (Number(chart.dataset.right) - left) * Math.min(1, t / figures.length);
      lines[index].setAttribute("x1", x);
      lines[index].setAttribute("x2", x);
    });
    document.getElementById("at-time").textContent = clock(t);
    document.getElementById("at-step").textContent = stepAt(t);
    ["liquor_tank", "mash_tun", "boil_kettle"].forEach(function (key) {
      document.getElementById("at-" + key).textContent = vessel(key, i);
    });
    slider.value = t;
    slider.setAttribute("aria-valuetext", clock(t) + ", step " + stepAt(t) + ", tank " + vessel("liquor_tank", i) +
      ", tun " + vessel("mash_tun", i) + ", kettle " + vessel("boil_kettle", i));
  }
  function follow(event) {
    var chart = event.currentTarget;
    var box = chart.getBoundingClientRect();
    var x = (event.clientX - box.left) / box.width * chart.viewBox.baseVal.width;
    var left = Number(chart.dataset.left);
    var share = (x - left) / (Number(chart.dataset.right) - left);
    show(Math.max(0, Math.min(1, share)) * figures.length);
  }
  charts.forEach(function (chart) {
    chart.addEventListener("pointermove", follow);
    chart.addEventListener("pointerdown", follow);
  });
  slider.max = figures.length;
  slider.addEventListener("input", function () { show(Number(slider.value)); });
  bar.hidden = false;
  show(0);
}());
