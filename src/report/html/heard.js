(function(){
"use strict";
var Context=window.AudioContext||window.webkitAudioContext;
if(!Context)return;
var how={slow:false,click:false,chord:false},playing=null;
function stop(){
if(!playing)return;
var p=playing;
playing=null;
clearTimeout(p.timer);
p.button.classList.remove("plays");
p.out.textContent="";
p.context.close();
}
function tone(c,out,midi,at,length,loud,shape){
var o=c.createOscillator(),g=c.createGain(),end=at+Math.max(length-.03,.06),attack=Math.min(.02,length/4);
o.type=shape;
o.frequency.value=440*Math.pow(2,(midi-69)/12);
g.gain.setValueAtTime(0,at);
g.gain.linearRampToValueAtTime(loud,at+attack);
g.gain.linearRampToValueAtTime(loud*.75,end);
g.gain.linearRampToValueAtTime(0,end+.05);
o.connect(g);
g.connect(out);
o.start(at);
o.stop(end+.06);
}
function sound(c,d,parts,louder){
var out=c.createGain(),soft=c.createDynamicsCompressor(),start=c.currentTime+.08,beat=60/(how.slow?d.tempo/2:d.tempo);
var each=.5/Math.sqrt(Math.max(parts.length,1));
out.connect(soft);
soft.connect(c.destination);
parts.forEach(function(notes,i){
var loud=louder<0?each:i===louder?each*1.7:each*.45;
notes.forEach(function(n){tone(c,out,n[2],start+n[0]*beat,n[1]*beat,loud,"triangle");});
});
if(how.chord)d.chords.forEach(function(x){x[2].forEach(function(m){tone(c,out,m,start+x[0]*beat,x[1]*beat,each*.5,"sine");});});
if(how.click)d.clicks.forEach(function(x){tone(c,out,x[1]?96:91,start+x[0]*beat,.05,.15,"sine");});
return .08+d.length*beat+.2;
}
function make(name,inside){
var e=document.createElement(name);
if(inside)e.append(inside);
return e;
}
function ready(box){
var d=JSON.parse(box.dataset.heard),louder=-1,of=make("span",": "+box.getAttribute("aria-label").replace(/^Hear /,""));
of.className="vh";
var out=make("span");
out.setAttribute("role","status");
function button(words,press){
var b=make("button",words);
b.type="button";
b.append(of.cloneNode(true));
b.addEventListener("click",function(){press(b);});
box.append(b);
}
function play(words,parts){
button(words,function(b){
stop();
var c=new Context(),seconds=sound(c,d,parts,louder);
if(c.resume)c.resume();
b.classList.add("plays");
out.textContent="Playing, "+(how.slow?d.tempo/2:d.tempo)+" quarter notes a minute"+(d.swing?", eighths swing":"");
playing={context:c,button:b,out:out,timer:setTimeout(stop,seconds*1000)};
});
}
play(box.dataset.play,d.stands);
if(d.corrected.length)play("Hear it corrected",d.stands.map(function(s,i){return d.corrected[i]||s;}));
button("Stop",stop);
var more=make("details",make("summary","How it is played"));
more.firstChild.append(of.cloneNode(true));
function choice(words,options,chosen,change){
var s=make("select"),l=make("label",words+" ");
options.forEach(function(o,i){s.append(make("option",o));s.options[i].selected=i===chosen;});
s.addEventListener("change",function(){change(s.selectedIndex);});
l.append(s);
more.append(l);
}
function tick(words,key){
var i=make("input"),l=make("label");
i.type="checkbox";
i.checked=how[key];
i.addEventListener("change",function(){how[key]=i.checked;});
l.append(i," "+words);
more.append(l);
}
more.addEventListener("toggle",function(){
while(more.children.length>1)more.lastChild.remove();
if(!more.open)return;
choice("Tempo",[(d.given?"the score's, ":"no tempo in the score, ")+d.tempo,"slower, "+d.tempo/2],how.slow?1:0,function(i){how.slow=i===1;});
choice("Louder",["all alike"].concat(d.names),louder+1,function(i){louder=i-1;});
tick("metronome","click");
if(d.chords.length)tick("notes of the chord symbols","chord");
});
box.append(more,out);
box.hidden=false;
}
document.querySelectorAll(".heard").forEach(ready);
document.addEventListener("keydown",function(e){if(e.key==="Escape")stop();});
})();
