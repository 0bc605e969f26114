(function(){
"use strict";
var form=document.querySelector("form.filters"),out=document.getElementById("shown");
var findings=Array.from(document.querySelectorAll("article"));
var filtered=Array.from(document.querySelectorAll(".x"));
var plain=document.getElementById("unscripted");
if(plain)plain.disabled=true;
function show(){
var wanted=form?Array.from(form.querySelectorAll("details input:checked")).map(function(i){return i.value;}).filter(function(v){return v!=="on";}):[];
filtered.forEach(function(x){
var hide=!wanted.every(function(w){return x.classList.contains(w);});
if(x.hidden!==hide)x.hidden=hide;
});
var part=wanted.filter(function(w){return w[0]==="p";})[0];
document.querySelectorAll(".player").forEach(function(s){s.hidden=!!part&&s.dataset.part!==part;});
var n=findings.filter(function(a){return !a.hidden;}).length;
if(out)out.textContent=n===findings.length?(n===1?"The one finding is shown.":"All "+n+" findings are shown."):n+" of "+findings.length+" findings are shown.";
}
if(form){form.addEventListener("change",show);show();}
var key="chartproof "+document.title,done={};
try{done=JSON.parse(localStorage.getItem(key))||{};}catch(e){}
document.querySelectorAll("input[data-done]").forEach(function(box){
var article=box.closest("article"),name=box.dataset.done+" "+article.querySelector("h3").textContent;
function mark(){article.classList.toggle("is-done",box.checked);}
box.checked=!!done[name];
mark();
box.addEventListener("change",function(){
if(box.checked)done[name]=1;else delete done[name];
mark();
try{localStorage.setItem(key,JSON.stringify(done));}catch(e){}
});
});
document.addEventListener("keydown",function(e){
if(e.ctrlKey||e.metaKey||e.altKey||/^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName)&&e.target.type!=="checkbox")return;
var step=e.key==="n"?1:e.key==="p"?-1:0;
if(!step)return;
var seen=findings.filter(function(a){return !a.hidden;});
var here=seen.indexOf(document.activeElement&&document.activeElement.closest("article"));
var next=seen[here<0?(step>0?0:seen.length-1):here+step];
if(next){next.focus();next.scrollIntoView({block:"start"});e.preventDefault();}
});
})();
