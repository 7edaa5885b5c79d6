// Sorting by a column's head, and a line's mark in the view from above while the pointer is on it in the table.
// The page says the same without it.
(()=>{
const value=cell=>{const text=cell.textContent.trim().replace('\u2212','-'),number=parseFloat(text.replace('+',''));return /^now/.test(text)?-Infinity:/^\d{4}-/.test(text)||isNaN(number)?text:number};
const compare=(one,two)=>typeof one===typeof two?(one<two?-1:one>two?1:0):typeof one==='number'?-1:1;
document.querySelectorAll('table.sort').forEach(table=>table.querySelectorAll('thead tr:last-child th').forEach((head,column)=>{
const button=document.createElement('button');button.type='button';button.append(...head.childNodes);head.append(button);
button.addEventListener('click',()=>{const down=head.getAttribute('aria-sort')==='ascending',body=table.tBodies[0];
table.querySelectorAll('[aria-sort]').forEach(one=>one.removeAttribute('aria-sort'));head.setAttribute('aria-sort',down?'descending':'ascending');
[...body.rows].sort((a,b)=>(down?-1:1)*compare(value(a.cells[column]),value(b.cells[column]))).forEach(row=>body.append(row))})}));
const key=cell=>`${cell.parentElement.cells[0].textContent} ${cell.cellIndex<6?'left':'right'}`;
document.addEventListener('pointerover',event=>{document.querySelectorAll('.lit').forEach(one=>one.classList.remove('lit'));
const cell=event.target.closest?.('.lines td'),mark=event.target.closest?.('.mark');if(!cell&&!mark)return;
const line=cell?key(cell):(mark.querySelector('title')||mark).textContent.split(':')[0],wing=event.target.closest('details.wing,main');
wing.querySelectorAll('svg .mark').forEach(one=>{if(one.textContent.startsWith(line+':'))one.classList.add('lit')});
wing.querySelectorAll('.lines tbody td:nth-child(6),.lines tbody td:nth-child(9)').forEach(one=>{if(key(one)===line)one.classList.add('lit')})})
})();
