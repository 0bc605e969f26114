(function(){
var out=document.getElementById("shown");
if(!out)return;
function count(){
var n=0,all=document.querySelectorAll("article");
all.forEach(function(a){if(getComputedStyle(a).display!=="none")n++;});
out.textContent=n===all.length?(n===1?"The one finding is shown.":"All "+n+" findings are shown."):n+" of "+all.length+" findings are shown.";
}
document.addEventListener("change",count);
count();
})();
