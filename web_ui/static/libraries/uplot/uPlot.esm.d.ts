import uPlot = require("./uPlot.cjs");
export default uPlot;
